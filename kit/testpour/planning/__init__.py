"""Choosing which pours to make: classic sets, optimal plans, power, the plan and its bench sheet."""
