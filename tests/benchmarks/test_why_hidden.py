"""Why, judged on hidden resins that no number of the table was chosen on: floors under what was measured."""

import pandas as pd
import pytest
from families.asked import cases, judged, summary
from families.trust import trust


@pytest.mark.slow
@pytest.mark.long
def test_faults_in_resins_of_other_makes():
    """One resin of each of three makes; measured: severe 0.61, two 0.83; mild 0.67; lots 0.83; sound 1; off by 0.10."""
    rows = [judged(case) for family in ("surface", "gates", "slab") for case in cases(family, 0)]
    print("\n" + summary(rows))
    table = pd.DataFrame(rows)
    one = table[table["kind"] == "one"]
    share = one[one["fault"] != "sound"].groupby("severity")[["first", "two"]].mean()
    assert share.loc["severe", "first"] >= 0.5 and share.loc["severe", "two"] >= 0.7 and share.loc["mild", "first"] >= 0.55
    assert table[table["kind"] == "lot"]["first"].mean() >= 0.6 and one[one["fault"] == "sound"]["first"].mean() >= 0.9
    assert trust(table["chance"], table["first"]).error < 0.15
