"""Heat and cure through the thickness of a casting, from a resin's published parameters.

In: a resin, catalyst, thickness, sides and temperatures.
Out: gel time, peak, final conversion and the curves over time; the atlas holds them computed ahead.
"""
