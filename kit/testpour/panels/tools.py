"""The tools at hand, said once when the study was begun and used by every panel."""

from __future__ import annotations

from pathlib import Path

from testpour.panels.memory import Memory

SCALES = (("0.01 g", "0.01 g"), ("0.1 g", "0.1 g"), ("1 g", "1 g"), ("5 g", "5 g"))
USUAL = "0.1 g"


def scale_step(folder: str | Path, memory: Memory | None = None) -> str:
    """Step of the scale: as chosen in this panel, else as said when the study was begun.

    Parameters
    ----------
    folder : str or Path
        Of the study.
    memory : Memory, optional
        Of the panel that asks.

    Returns
    -------
    str
        For example ``"0.1 g"``.
    """
    said = memory.get("scale") if memory is not None else ""
    return said or Memory(folder, "tools").get("scale", USUAL)
