"""The diagnosis of one casting from the log, the trade and what was seen."""

from testpour.causes.answer import EMPTY, Answer
from testpour.causes.case import Case, case_of
from testpour.causes.cause_file import causes_for
from testpour.causes.complaint import asked_about, missed
from testpour.causes.delivered import delivered
from testpour.causes.likelihood import likelihoods
from testpour.causes.signs import Planned
from testpour.causes.whole_log import fails_throughout, noted_for
from testpour.common.threads import one_thread
from testpour.common.wording import NoResult
from testpour.models.fits import Fits


@one_thread
def why(
    fits: Fits, pour: str | None = None, observed: dict[str, str] | None = None, *, batch: float | str | None = None,
    scale_resolution: float | str | None = None, causes: dict | None = None,
) -> Answer:
    """Why a casting came out as it did: causes ranked, what the settings explain, what to ask and to test.

    Parameters
    ----------
    fits : Fits
        From `fit_castings`; they carry the log.
    pour : str, optional
        If not given, the last casting of the log that misses an aim, or the last one where none does.
    observed : dict, optional
        What was seen, question to answer: ``{"where": "open face only"}``; added to what the pour's notes keep of questions that are
        still asked. Where the whole log fails alike, what is noted on one casting stands for all.
    batch, scale_resolution : float or str, optional
        Resin in the pot and step of the scale, g or text: what the scale may have delivered is then known.
    causes : dict, optional
        Lines that replace those of `causes.toml`, in its shape. A file `causes.toml` beside the study does so too.

    Returns
    -------
    Answer
        Of an empty log: what is needed first, with the trade's chances and questions.

    Raises
    ------
    NoSuchName
        If a pour is named that the log does not have, or there is no such question.
    CauseProblems
        If the table of causes cannot be used.
    Problem
        If `observed` names no question, an answer is not one of its question's, or the batch cannot be weighed.

    Notes
    -----
    Bayes' rule over a table of causes. The readings are judged against what the log's other pours say of
    these settings; the chances are as good as the table and the log, and `Answer.weighed` shows every step.

    Examples
    --------
    >>> tp.why(fits, "P10")
    P10: peak temperature 146 °C, where the aim is at most 110 °C. Likeliest: it was planned deep or warm for its
    catalyst, and ran too hot (61 in 100); then it was planned with a lot of catalyst (14 in 100). ...
    """
    castings = fits.castings
    pour, table = asked_about(castings, pour), causes_for(fits.study, causes)
    if not pour:
        case = Case(fits, table, {}, likelihoods(table, {}), set(), Planned(), castings.pours)
        said, weighed = case.under(observed or {})
        return Answer("", (), weighed, NoResult(EMPTY), said, (), case)
    found = missed(castings, pour)
    shared = fails_throughout(castings, pour, found)
    found = tuple(sorted(found, key=lambda miss: miss is not shared))  # what nearly the whole log misses comes first
    scale = delivered(fits, pour, found[0] if found else None, batch, scale_resolution)
    case = case_of(fits, table, pour, found, scale.off if scale else None)
    no_scale = NoResult(f"The log does not say how much catalyst went into {pour}, so it cannot be said whether the scale is to blame.")
    said, weighed = case.under({**case.table.still_asked(noted_for(castings, pour)), **(observed or {})})
    return Answer(pour, found, weighed, scale or no_scale, said, (), case)
