"""Runs on the mains of a whole stage: its operating point decides which state it begins in."""

from __future__ import annotations

from analog.benches.line_network import LineNetwork
from analog.circuits.record import Circuit, Experiment, Param, Transient


def started(
    circuit: Circuit, network: LineNetwork, reducer: str, outputs: tuple[str, ...]
) -> Experiment:
    """Return the run on the mains, whose `reducer` gives `outputs`.

    Filter and reservoir start at what the rows say; the stage finds its state by itself.
    """
    start = [("pin", Param("pin_start"))] if network.own is None else []
    start += [("joint", Param("joint_start"))] if network.parts.second_stage else []
    start += [("raw", Param("raw_start"))] if network.parts.supply != "none" else []
    return Experiment(
        circuit,
        Transient(
            Param("t_stop"),
            Param("t_step"),
            Param("t_record"),
            reltol=1e-5,
            initial=tuple(start),
        ),
        ("v(pin)", "v(out)"),
        reducer,
        outputs,
        (
            ("t_out_rise", "tran when v(out)={v_half} td={t_start} rise=1"),
            ("t_out_fall", "tran when v(out)={v_half} td={t_quarter} fall=1"),
        ),
    )
