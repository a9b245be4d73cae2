"""What fits on a label: the code and its text, and the size of the words beside it."""

import unicodedata
from bisect import bisect_left
from functools import lru_cache

import segno
from segno.encoder import DataOverflowError

from testpour.bench.label_sheet import LabelSheet
from testpour.common.wording import visible
from testpour.logbook.text_and_dates import clean

PAD = 2.2  # mm of margin inside each edge: printers and hands are not exact
LARGEST = 25.0  # mm, side of a code; a larger one only takes room from the words
QUIET = 4  # modules of white around a code: ISO/IEC 18004
MODULE, FINEST = 0.4, 0.25  # mm: smallest module wanted, and the smallest used at all; common practice, no source
POINT = 25.4 / 72  # mm
NAME_SIZES = (20, 18, 16, 14, 12, 10.5, 9, 8, 7, 6)  # pt
SESSION, SETTINGS, STUDY = 8.5, 7, 6.5  # pt
LEADING = 1.15


def code_text(study: str, pour: str, side: float, problems: list[str]) -> str:
    """The text of the code: the study's name, shortened if necessary, a line break, and the whole name of the pour.

    `side` is that of the printed code, mm; `problems` gets a sentence if the name does not fit at all.
    """
    study = clean(study, line=True)
    if _fits(f"{study}\n{pour}", side, MODULE):
        return f"{study}\n{pour}"
    kept = bisect_left(range(1, len(study)), True, key=lambda length: not _fits(f"{study[:length]}…\n{pour}", side, MODULE))
    text = f"{study[:kept]}…\n{pour}" if kept else f"\n{pour}"
    if not kept and not _fits(text, side, FINEST):
        problems.append(f"the name {pour[:20]}… has {len(pour)} characters, too many for a code on this label.")
    return text


def _fits(text, side, module):
    try:
        return side / (_code(text).symbol_size(border=QUIET)[0]) >= module
    except DataOverflowError:
        return False


@lru_cache(maxsize=256)  # first for its size, then for its picture
def _code(text):
    return segno.make(text, error="m", micro=False, encoding="utf-8", boost_error=False)


def code_picture(text: str) -> str:
    """The code as SVG that fills its box."""
    return _code(text).svg_inline(border=QUIET, omitsize=True, light="#fff", svgclass="code", lineclass=None)


class Box:
    """The room for words and code in a label, in mm."""

    def __init__(self, sheet: LabelSheet) -> None:
        self.height = sheet.height - 2 * PAD
        self.side = min(self.height, 0.42 * sheet.width, LARGEST)
        self.width = sheet.width - self.side - 3 * PAD
        self.name = 0.3 * self.height
        rest = self.height - self.name - LEADING * POINT * (SESSION + STUDY)
        self.lines = max(1, int(rest / (LEADING * POINT * SETTINGS)))

    def fitted(self, pour: str) -> tuple[float, str]:
        """Size in pt at which a name fits, and the name as printed, its middle left out if necessary."""
        name = whole = visible(clean(pour, line=True))
        for size in NAME_SIZES:
            if _width_in_em(name) <= self._room(size):
                return size, name
        size, keep = NAME_SIZES[-1], len(name)
        while _width_in_em(name) > self._room(size):
            keep -= 1
            name = f"{whole[: keep - keep // 2]}…{whole[-(keep // 2):]}"
        return size, name

    def _room(self, size):
        """Width of all lines in em, less the unused ends of lines."""
        lines = int(self.name / (1.1 * POINT * size))
        return lines * (self.width / (POINT * size)) - max(lines - 1, 0) * 1.5


def _width_in_em(text):
    """Width of bold text in em; errs on the wide side."""
    return sum(map(_em, text))


def _em(sign):
    if unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0.0
    if unicodedata.east_asian_width(sign) in "WF" or ord(sign) > 0x1F000:
        return 1.4
    return 1.15 if sign in "WM@%…" else 0.86 if sign.isupper() or sign in "<>=+~^#&" else 0.72
