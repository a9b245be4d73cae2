"""Every plot, one function one figure; a figure's title is what it says, and `.says` is its text."""

from testpour.common.arguments import checked
from testpour.exchange.trace import show_trace
from testpour.pooling.bench_chart import show_benches
from testpour.report.age_curve import show_age
from testpour.report.chance_map import show_chance
from testpour.report.cure_map import show_cure
from testpour.report.effect_chart import show_check, show_effects, show_scatter
from testpour.report.pour_pairs import show_plan, show_pours
from testpour.report.reading_curve import show_reading

__all__ = [
    "show_age", "show_benches", "show_chance", "show_check", "show_cure", "show_effects", "show_plan",
    "show_pours", "show_reading", "show_scatter", "show_trace",
]

globals().update({name: checked(globals()[name]) for name in __all__})
