"""Reports: the page, and what lies beside it.

``write_report`` writes a design's folder, ``write_index`` the page over several designs,
``junit`` and ``summary`` give the texts by themselves.
"""

from analog.render.index import reports_in, write_index
from analog.render.junit import junit
from analog.render.markdown import summary
from analog.render.safety import CAUTIONS, as_lines
from analog.render.safety import SUMMARY as CAUTION_SUMMARY
from analog.render.write import write_report

__all__ = [
    "CAUTIONS",
    "CAUTION_SUMMARY",
    "as_lines",
    "junit",
    "reports_in",
    "summary",
    "write_index",
    "write_report",
]
