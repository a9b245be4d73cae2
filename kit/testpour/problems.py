"""Every problem of something given, raised once."""


class Problems(ValueError):
    """What was given cannot be used; `problems` lists each reason.

    Parameters
    ----------
    where : str
        What was given, as the message begins.
    problems : iterable of str
    """

    def __init__(self, where, problems):
        self.problems = list(problems)
        more = f" ({len(self.problems)} in all; see `.problems`)" if len(self.problems) > 1 else ""
        super().__init__(f"{where}: {self.problems[0]}{more}")
