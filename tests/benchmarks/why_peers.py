"""What stands beside `why` on the same castings and answers: a trade guide's list, and numbers for a forest."""

from testpour.causes.cause_file import trade_causes

QUESTIONS = {name: entry["answers"] for name, entry in trade_causes()["questions"].items()}
READINGS = ["gel_time", "time_to_peak", "peak_temperature", "tack", "hardness", "opacity", "defects"]


def features(case, known, seen, misses):
    """A casting in numbers for a classifier: each reading beside what the log expects, settings, answers."""
    row, out = case.fits.castings.pours.loc[case.pour], []
    for name in READINGS:
        predicted = seen.get(name)
        if predicted is None:
            out += [0.0, 0.0]
            continue
        low, high = predicted.expected()
        read = predicted.rows["low"].clip(upper=1e4)
        out += [(read.mean() - (low + high) / 2) / (high - low + 0.5), read.std() if len(read) > 1 else 0.0]
    out += [row[name] for name in ("catalyst", "pigment", "thickness", "cover", "room_temperature")]
    out += [float(row.get("catalyst_lot", "") == "new"), misses]
    return out + [float(known.get(q) == a) for q, answers in QUESTIONS.items() for a in answers]


def guide(case, known, seen, misses):
    """The list a trade guide prints for a tacky casting, top to bottom, with the visible faults before it."""
    row, gel = case.fits.castings.pours.loc[case.pour], seen["gel_time"]
    read, (low, high) = gel.rows["low"].mean(), gel.expected()
    steps = [
        (known.get("looks") == "bubbles", "trapped_air"),
        (known.get("looks") == "streaks", "colour_not_dispersed"),
        (known.get("looks") == "cloudy", "moisture"),
        (known.get("looks") == "cracks", "too_hot"),
        (known.get("looks") == "yellow or pink", "light" if known.get("when") == "weeks later" else "too_much_catalyst"),
        (known.get("where") == "open face only", "open_face"),
        (known.get("where") == "mould side only", "mould"),
        (known.get("where") == "in patches", "uneven_mixing"),
        (known.get("where") == "thin parts and edges", "too_thin"),
        (known.get("clear") == "clear cures better", "pigment"),
        (row["room_temperature"] < 15 or known.get("felt") == "colder", "cold"),
        (row["cover"] == 0, "open_face"),
        (row["catalyst"] < 1, "too_little_catalyst"),
        (known.get("bottle", "").startswith("old"), "old_materials"),
        (read > high, "too_little_catalyst"),
        (read < low, "too_much_catalyst"),
        (misses > 0, "too_little_catalyst"),
    ]
    return next((cause for holds, cause in steps if holds), "nothing")
