"""What the settings do: the trade's beliefs (priors) updated by the castings in the log.

In: a castings table, beliefs and the physics.
Out: fits, and from them effects, chances, checks and scatter.
"""
