"""An optimal set of pours as a table, with the values that published sets are compared by."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from testpour.planning.criteria import average_variance, information, log_determinant, model_rows
from testpour.planning.optimal import optimal_plan


def found_plan(task, *given, **named):
    """The set found for a problem: its table, coded rows, log determinant and average variance over the region."""
    rows = optimal_plan(task, *given, **named)
    table = pd.DataFrame(rows, columns=[axis.name for axis in task.axes])
    table.insert(0, "session", task.all_sessions)
    table["fixed"] = np.arange(len(rows)) < len(task.kept)
    matrix = information(model_rows(rows, task.terms), task.all_sessions, task.eta, task.prior)
    value = average_variance(matrix, task.moments())
    return SimpleNamespace(problem=task, table=table, rows=rows, log_det=float(log_determinant(matrix)), i_value=value)
