"""The same steps by tapping in a notebook, one panel per step.

In: a study folder and taps.
Out: the study file, plan and log written into that folder, and answers on the screen.
"""
