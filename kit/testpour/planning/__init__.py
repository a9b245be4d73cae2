"""Which pours to make: classic factorial sets, optimal designs, and what a plan would notice.

In: a study, the pours already made, and fits if there are any.
Out: a plan in run order, its power, and repairs when a pour went wrong.
"""
