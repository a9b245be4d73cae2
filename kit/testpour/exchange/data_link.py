"""The data behind a page: its tables as files inside the page, the versions that made it."""

import base64
import platform
import re
from importlib.metadata import version
from urllib.parse import quote

import numpy as np
import pandas as pd

from testpour.common.wording import visible
from testpour.logbook.sheet_cells import ACTIVE

LEFT_OUT = ("by",)  # who read it: no page has a person's name from the log
PRECISE = re.compile(r"(?<![\d.\w#-])(-?\d*[1-9]\d*\.\d\d)\d+")  # a length drawn more finely than a hundredth of a point
UNCHANGED = " /=;,.)'-!*?@[]|$+^`~{}"  # characters that an address in double quotes may hold unescaped
PACKAGES = ("numpy", "pandas", "scipy", "matplotlib")


def to_csv(table: pd.DataFrame) -> str:
    """A table as CSV text that no spreadsheet runs: text that looks like a formula gets a leading quote.

    Open ends (infinite) are blank; `known` says which end is open. This follows the OWASP page on CSV injection.
    """
    shown = table.drop(columns=[name for name in LEFT_OUT if name in table]).reset_index(names="pour" if table.index.name == "pour" else "row")
    shown.columns = [_escaped(name) for name in shown.columns]
    for name in shown:
        if pd.api.types.is_numeric_dtype(shown[name]):
            shown[name] = shown[name].replace([np.inf, -np.inf], np.nan)
        elif not pd.api.types.is_datetime64_any_dtype(shown[name]):
            shown[name] = [_escaped(value) for value in shown[name]]
    return shown.to_csv(index=False, lineterminator="\r\n")


def _escaped(value):
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
    text = visible(value)
    return "'" + text if text.lstrip(" ").startswith((*ACTIVE, "\n")) else text


def data_link(text: str) -> str:
    """A `data:` address that holds a CSV file; the mark in front tells a spreadsheet that it is UTF-8."""
    return "data:text/csv;charset=utf-8;base64," + base64.b64encode(("\ufeff" + text).encode()).decode()


def image_link(image: bytes, kind: str = "svg") -> str:
    """A `data:` address that holds a figure; the lengths in a drawing are rounded to a hundredth of a point."""
    if kind == "svg":  # written as text: a fifth less than in base64
        drawing = re.sub(r"<!--.*?-->", "", image.decode(), flags=re.DOTALL)  # they repeat the words that are drawn
        drawing = re.sub(r"\s+", " ", PRECISE.sub(r"\1", drawing).replace('"', "'"))
        return f"data:image/svg+xml,{quote(drawing, safe=UNCHANGED)}"
    return f"data:image/{kind};base64,{base64.b64encode(image).decode()}"


def versions() -> dict[str, str]:
    """The versions of what made the page, by name."""
    try:
        own = version("testpour")
    except ModuleNotFoundError:
        own = "from a checkout, not installed"
    return {"testpour": own, "Python": platform.python_version(), **{name: version(name) for name in PACKAGES}}
