"""Words no list knows: where the lists understand nothing, what the workshop's jobs taught of them answers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models import CauseClassifier
from models.causes import storage
from models.causes.evidence import interval

SAID = {
    "pump": "hums like bees",
    "seal": "puddle by morning",
    "belt": "flaps about inside",
    "motor": "growls then rests",
}


def lists() -> pd.DataFrame:
    """Four causes of one complaint, told apart by one finding each."""
    rows: list[tuple[str, str, str, str, float]] = []
    for cause in SAID:
        rows += [(cause, cause, "kind", "washer", 0.25), (cause, cause, "symptom: noisy", "yes", 1.0)]
        for other in SAID:
            seen = 0.9 if other == cause else 0.1
            rows += [
                (cause, cause, f"finding: {other}", "bad", seen),
                (cause, cause, f"finding: {other}", "good", 1 - seen),
            ]
    return pd.DataFrame(rows, columns=["way", "cause", "column", "value", "chance"])


def jobs(number: int, seed: int) -> tuple[pd.DataFrame, np.ndarray]:
    """Nine of ten complaints are understood and tell nothing; the rest are told in words of the cause."""
    rng = np.random.default_rng(seed)
    cause = rng.choice(list(SAID), number)
    own = rng.random(number) < 0.1
    frame = pd.DataFrame({"kind": "washer", "symptom: noisy": np.where(own, None, "yes")}, dtype=object)
    frame["complaint"] = [SAID[one] if is_own else "noisy" for one, is_own in zip(cause, own, strict=True)]
    for name in SAID:
        is_bad = rng.random(number) < np.where(cause == name, 0.9, 0.1)
        frame[f"finding: {name}"] = np.where(rng.random(number) < 0.6, np.where(is_bad, "bad", "good"), None)
    return frame, cause


@pytest.fixture(scope="module")
def fitted() -> CauseClassifier:
    classifier = CauseClassifier(scope="kind", text="complaint", background=lists(), boosting=False, folds=2)
    return classifier.fit(*jobs(1200, 1))


def test_own_words_answer_before_and_after_a_look(fitted: CauseClassifier) -> None:
    call = {"kind": "washer", "symptom: noisy": None, "complaint": "it hums like bees"} | {
        f"finding: {c}": None for c in SAID
    }
    asked = pd.DataFrame([call, call | {"finding: belt": "good"}, call | {"finding: pump": "good"}], dtype=object)
    pump = fitted.model_.predict_proba(asked)[:, list(fitted.classes_).index("pump")]
    assert pump[0] > 0.7
    assert pump[1] > 0.7
    odds = pump / (1 - pump)
    assert odds[2] < odds[0] / 3  # what was seen counts beside the words


def test_they_are_heeded_more_than_where_the_lists_understand(fitted: CauseClassifier, tmp_path) -> None:
    place = storage.OPINIONS.index("regression")
    heard, unheard = fitted.model_.weights[:, place]
    assert unheard > heard
    storage.save(fitted.model_, tmp_path / "m", {})
    again = storage.open_model(tmp_path / "m")
    asked, _ = jobs(50, 2)
    assert again.predict_proba(asked) == pytest.approx(fitted.model_.predict_proba(asked), abs=1e-5)


def test_the_interval_tells_how_far_the_corrected_lists_may_be_off() -> None:
    written = lists()
    is_unsure = written["column"].isin(["finding: pump", "finding: seal"])
    written.loc[is_unsure, "chance"] = 0.5  # jobs must teach what these two show
    fitted = CauseClassifier(scope="kind", text="complaint", background=written, boosting=False, folds=2)
    fitted.fit(*jobs(300, 3))
    asked, _ = jobs(1000, 4)
    asked = asked[asked["symptom: noisy"] == "yes"].reset_index(drop=True)
    findings = asked[[f"finding: {cause}" for cause in fitted.classes_]].to_numpy()
    told = (findings == "bad").astype(float) - (findings == "good")
    exact = 9.0 ** (2 * told) / (9.0 ** (2 * told)).sum(axis=1, keepdims=True)
    chance = fitted.model_.predict_proba(asked)
    rows, first = np.arange(len(asked)), chance.argmax(axis=1)
    low, high = interval(chance[rows, first], 300, fitted.model_.width)
    holds = (low <= exact[rows, first]) & (exact[rows, first] <= high)
    assert holds.mean() > 0.9
    assert (high - low).mean() < 0.6
