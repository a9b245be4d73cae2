"""Every plot, one function one figure; a figure's title is what it says, and `.says` is its text."""

from testpour.figures.age_curve import show_age
from testpour.figures.bench_chart import show_benches
from testpour.figures.chance_map import show_chance
from testpour.figures.check_chart import show_check
from testpour.figures.cure_map import show_cure
from testpour.figures.effect_chart import show_effects
from testpour.figures.pour_pairs import show_plan, show_pours
from testpour.figures.promise_curve import show_promise
from testpour.figures.reading_curve import show_reading
from testpour.figures.scatter_chart import show_scatter
from testpour.figures.trace_curve import show_trace
from testpour.figures.trust_chart import show_trust

__all__ = [
    "show_age", "show_benches", "show_chance", "show_check", "show_cure", "show_effects", "show_plan",
    "show_pours", "show_promise", "show_reading", "show_scatter", "show_trace", "show_trust",
]  # fmt: skip
