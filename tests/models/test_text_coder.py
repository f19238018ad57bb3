"""Free text to term: learns from confirmed texts, believes the word lists as far as right, is silent when unsure."""

from __future__ import annotations

import numpy as np
import pytest

from models import TextCoder

CAUSES = {
    "drain pump": ["pump", "drain pmp", "pumpe", "impeller"],
    "door seal": ["seal", "gasket", "dichtung", "rubber lip"],
    "heating element": ["element", "heater", "heizung", "elem"],
}


def said(number: int, seed: int) -> tuple[list[str], list[str]]:
    """Make texts of a cause's words among words that tell nothing."""
    rng = np.random.default_rng(seed)
    names = list(CAUSES)
    terms = [names[k] for k in rng.integers(0, 3, number)]
    around = ["found", "replaced", "old", "customer", "checked", "worn"]
    return [" ".join([*rng.choice(around, 3), rng.choice(CAUSES[term])]) for term in terms], terms


def test_learns_what_the_words_mean_and_says_how_sure_it_is() -> None:
    coder = TextCoder().fit(*said(300, 0))
    texts, terms = said(200, 1)
    chance = coder.predict_proba(texts)
    assert chance.sum(axis=1) == pytest.approx(np.ones(200))
    assert np.mean(coder.predict(texts) == terms) > 0.98
    assert coder.coverage_ > 0.9
    assert coder.code(["pmpe impeler drainpump"])["term"].tolist() == ["drain pump"]


def test_is_silent_where_texts_tell_nothing() -> None:
    rng = np.random.default_rng(0)
    texts = [" ".join(rng.choice(["found", "old", "worn", "checked"], 3)) for _ in range(200)]
    coder = TextCoder().fit(texts, rng.choice(["a", "b", "c", "d"], 200))
    assert coder.code(texts)["term"].isna().mean() > 0.9


def test_what_it_codes_is_right_often_enough() -> None:
    texts, terms = said(600, 2)
    rng = np.random.default_rng(3)
    noisy = np.where(rng.random(600) < 0.1, rng.choice(list(CAUSES), 600), terms)
    mixed = [text if k % 3 else "checked old worn" for k, text in enumerate(texts)]
    coder = TextCoder(least_precision=0.85).fit(mixed[:400], noisy[:400])
    coded = coder.code(mixed[400:])["term"]
    spoke = coded.notna().to_numpy()
    assert 0.2 < spoke.mean() < 0.9
    assert np.mean(coded[spoke].to_numpy() == noisy[400:][spoke]) > 0.78


def test_word_lists_come_first_and_are_believed_as_far_as_they_were_right() -> None:
    texts, terms = said(200, 4)

    def listed(asked: list[str]) -> list[str | None]:
        return ["door seal" if "seal" in text else None for text in asked]

    coder = TextCoder(listed).fit(texts, terms)
    assert coder.word_list_right_ > 0.9
    chance = coder.predict_proba(["pump pump seal"])[0]
    assert chance[list(coder.classes_).index("door seal")] == pytest.approx(coder.word_list_right_)
    assert coder.predict(["pump pump seal"]).tolist() == ["door seal"]
    wrong = TextCoder(lambda asked: ["door seal"] * len(asked)).fit(texts, terms)
    assert wrong.word_list_right_ < 0.5


@pytest.mark.parametrize("texts", [[""], ["", "  ", "?"], ["<script>", "=1+1", "\x1b[31m"], [None, float("nan")]])
def test_odd_texts_are_no_trouble(texts: list[object]) -> None:
    coder = TextCoder().fit(*said(60, 5))
    assert coder.predict_proba(texts).sum(axis=1) == pytest.approx(np.ones(len(texts)))
    alone = TextCoder().fit(texts, ["a"] * len(texts))
    assert (alone.predict_proba(texts) == 1).all()
    assert alone.code(texts)["term"].isna().all()


def test_nothing_to_learn_from_is_refused() -> None:
    with pytest.raises(ValueError, match="term a text"):
        TextCoder().fit([], [])
    with pytest.raises(ValueError, match="term a text"):
        TextCoder().fit(["a"], ["x", "y"])


def test_labels_keep_their_type_and_texts_weigh_as_much_as_they_count() -> None:
    texts, terms = said(60, 5)
    numbers = np.array([list(CAUSES).index(term) + 7 for term in terms])
    coder = TextCoder().fit(texts, numbers)
    assert coder.predict(["impeller"])[0] == 7
    assert np.issubdtype(coder.predict(texts).dtype, np.integer)
    twice = [*texts, *(["impeller"] * 60)], np.append(numbers, np.full(60, 9))
    ignored = TextCoder().fit(*twice, sample_weight=np.append(np.ones(60), np.zeros(60)))
    heard = TextCoder().fit(*twice)
    assert ignored.predict(["impeller"])[0] == 7
    assert heard.predict(["impeller"])[0] == 9
