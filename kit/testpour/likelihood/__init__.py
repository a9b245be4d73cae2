"""The statistics of readings seen only between two checks, in plain numbers; it knows nothing of studies.

In: design matrices, interval bounds of the readings, groups and normal priors, as numpy arrays.
Out: draws from the posterior.
"""
