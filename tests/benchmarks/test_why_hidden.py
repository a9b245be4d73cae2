"""Why, judged on hidden resins of the two makes that no number of the table was chosen on: floors under what was measured."""

import pandas as pd
import pytest
from families.asked import RIGHT, cases, judged, summary, taught
from families.trust import trust


@pytest.mark.slow
@pytest.mark.long
def test_faults_in_resins_of_other_makes():
    """One resin of each of two makes, with a list, a majority and a forest taught on two other makes beside it.

    Measured on 74 castings: severe 0.74, in two 0.82; mild 0.74; three of four lots; six of six sound ones.
    """
    forest = taught(case for family in ("algebraic", "gates") for case in cases(family, 100))
    rows = [judged(case, forest=forest) for family in ("radical", "slab") for case in cases(family, 0)]
    print("\n" + summary(rows))
    table = pd.DataFrame(rows)
    one = table[table["kind"] == "one"]
    faulty = one[one["fault"] != "sound"]
    share = faulty.groupby("severity")[["first", "two"]].mean()
    assert share.loc["severe", "first"] >= 0.68 and share.loc["severe", "two"] >= 0.78 and share.loc["mild", "first"] >= 0.68
    assert table[table["kind"] == "lot"]["first"].mean() >= 0.7 and one[one["fault"] == "sound"]["first"].mean() >= 0.9
    assert trust(table["chance"], table["first"]).error < 0.15
    majority = faulty["fault"].map(lambda fault: RIGHT[fault][0]).value_counts(normalize=True).iloc[0]
    assert faulty["first"].mean() > faulty["list"].mean() > majority
