"""Results to look at and to pass on.

In: a study, its log and fits, and any answer drawn from them.
Out: figures, the findings page, the handout, the wall sheet and comparisons.
"""
