"""What to pour next and which settings to use.

In: fits, the day's room and the study's aims.
Out: next pours, recommended settings, the recipe chart, layers, the oven, and when to stop.
"""
