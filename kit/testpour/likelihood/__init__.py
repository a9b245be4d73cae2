"""The statistics of interval-censored readings, in plain numbers, independent of studies.

In: design matrices, interval bounds of the readings, groups and normal priors, as numpy arrays.
Out: draws from the posterior.
"""
