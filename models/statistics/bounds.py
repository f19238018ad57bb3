"""What a share could be when some of it cannot be judged, or is judged wrongly."""

from __future__ import annotations


def shared_credit_bounds(wrong: int, cured: int, shared: int, visits: int) -> tuple[float, float]:
    """Give the least and the greatest share of needless parts when several fitted at one visit share the credit.

    Parameters
    ----------
    wrong, cured
        Parts judged not the cause, and cured.
    shared
        Parts without a verdict of their own, because others were fitted at the visit that cured.
    visits
        Visits they were fitted at: at each at least one of them was needed.

    Returns
    -------
    tuple of float
        None of the shared ones needless; all needless but one a visit. NaN without any part.

    Notes
    -----
    Bounds that assume nothing of what is not seen: Manski 1990, American Economic Review 80(2), 319–323 (from memory).

    Examples
    --------
    >>> shared_credit_bounds(6, 84, 10, 4)
    (0.06, 0.12)
    """
    of = wrong + cured + shared
    return (wrong / of, (wrong + shared - visits) / of) if of else (float("nan"), float("nan"))


def share_behind_errors(share: float, error: float) -> float:
    """Give the true share behind one counted with a known rate of errors either way; not below 0 nor above 1.

    Parameters
    ----------
    share
        As counted.
    error
        Share of judgements that are wrong, the same for both answers; below one half.

    Notes
    -----
    Rogan & Gladen 1978, American Journal of Epidemiology 107, 71–76 (from memory): (p + specificity − 1) /
    (sensitivity + specificity − 1), both one less the error.

    Examples
    --------
    >>> round(share_behind_errors(0.14, 0.05), 3)
    0.1
    """
    if not 0 <= error < 0.5:
        raise ValueError("the share of errors lies between 0 and one half")
    return min(1.0, max(0.0, (share - error) / (1 - 2 * error)))
