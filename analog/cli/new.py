"""`edgeproof new NAME`: a commented starter design that checks clean."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from analog.cli import exits


@click.command()
@click.argument("name", metavar="NAME")
def command(name: str) -> int:
    """Write NAME.toml, a commented starter design that checks clean, into this folder."""
    from analog.cli.display import say
    from analog.cli.files import write_new
    from analog.cli.problems import bad_file, report_problems
    from analog.design import starter_text
    from analog.errors import InputError

    path = Path(f"{name}.toml")
    try:
        text = starter_text(name)
        try:
            write_new(path, text)
        except FileExistsError:
            rule = "the file is there already and is left alone"
            raise bad_file(str(path), rule, "Choose another name") from None
        except OSError as error:
            rule = f"cannot be written ({error.strerror})"
            raise bad_file(str(path), rule, "Go to a folder you may write to") from None
    except InputError as error:
        report_problems([replace(p, file=p.file or "command line") for p in error.problems], False)
        return exits.BAD_INPUT
    say(f"Wrote {path}. Next: edgeproof check {path}")
    return exits.PASSED
