"""The netlist of a checked case or of a sampled board, as it was simulated."""

from __future__ import annotations

from analog.benches.base import Plan
from analog.design import Design
from analog.engine import netlist as netlist_text
from analog.workflows.boards import boards
from analog.workflows.checked import Case, Checked, CheckedScene


def netlist(checked: Checked, bench: str, at: str = "nominal", scene: str | None = None) -> str:
    """Return the netlist of a bench at ``nominal`` or at ``worst:MEASURE``.

    The nominal is that of `scene` (default: the bench's first scene). Raises KeyError for a
    bench, scene, measure or case that was not checked, with what there is.
    """
    own = checked.bench(bench)
    if at == "nominal":
        chosen = own.scenes[0] if scene is None else own.scene(scene)
        return case_netlist(chosen, chosen.nominal, f"{checked.design.name} {bench} {at}")
    kind, _, measure = at.partition(":")
    if kind != "worst" or measure not in own.worst:
        choices = ", ".join(["nominal", *(f"worst:{name}" for name in own.worst)])
        raise KeyError(f"{bench} has no case {at!r}; it has {choices}")
    found = own.worst[measure]
    return case_netlist(own.scene(found.scene), found, f"{checked.design.name} {bench} {at}")


def case_netlist(scene: CheckedScene, case: Case, title: str) -> str:
    """Return the netlist of one case; runs as it is under ``ngspice -b``."""
    return netlist_text(scene.scene.experiment, case.row, title)


def sample_netlist(
    design: Design, plan: Plan, number: int, seed: int = 0, scene: str | None = None
) -> str:
    """Return the netlist of board `number` of a sweep of that seed; nothing is simulated for it.

    A board is the same whichever benches are swept. `scene` is one of the plan's (default: the
    first); KeyError when there is none of that name.
    """
    fleet = boards(design, (plan,))
    found = [one for one in fleet.scenes if scene in (None, one.scene.identifier)]
    if not found:
        raise KeyError(scene)
    names, rows = found[0].rows(fleet.independent(seed, number, 1))
    row = dict(zip(names, rows[0].tolist(), strict=True))
    title = f"{design.name} {plan.bench} {found[0].scene.identifier} sample:{number} seed {seed}"
    return netlist_text(found[0].scene.experiment, row, title)
