"""The face of the word lists: columns of written words in, terms out."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.words import lists as word_lists
from pipeline.words.lexicon import split_joined
from pipeline.words.own_lists import read_own
from pipeline.words.prepared_lists import ReadyLists
from pipeline.words.vocabulary import MARKS, plain, split

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray


class Words(ReadyLists):
    """Word lists in force: shipped, the workshop's own, and the decisions taken in review.

    Loading reads the lists; they are made ready for a column when the first one comes.
    Terms are English whatever the language of the texts.
    """

    @classmethod
    def load(
        cls,
        languages: Sequence[str] = ("en",),
        extra: Iterable[Path | str] = (),
        corrections: pd.DataFrame | Iterable[tuple[str, str, str | None]] | None = None,
    ) -> Words:
        """Read the word lists.

        Parameters
        ----------
        languages
            Languages that texts are written in; each text is read in the one that knows most of its words.
        extra
            The workshop's own lists, TOML or CSV.
        corrections
            Decisions in force: list, written, term (none = it means nothing), oldest first.

        Raises
        ------
        LayoutError
            A language that is not shipped, or a fault in a list: file, line, value, remedy.
        """
        own, decided = tuple(extra), _decisions(corrections)
        if not own and not decided:
            return _as_shipped(tuple(languages))
        lists = word_lists.read_shipped(tuple(languages))
        for path in own:
            read_own(lists, Path(path))
        for name, written, term in decided:
            if term is None:
                lists.silenced.add((name, plain(written)))
            elif name in word_lists.LISTS:
                lists.silenced.discard((name, plain(written)))
                word_lists.add_term(lists, name, term, [written], origin="review")
                word_lists.add_row(lists, name, term, origin="review")
            elif name == "cure":
                lists.faults.append(_decided_cure(written, term))
        return cls(lists)

    def match(self, list_name: str, written: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Understand whole cells.

        Parameters
        ----------
        list_name
            kind, outcome, part, cause or make.
        written
            Cells.
        kinds
            Kinds of appliance beside them, as terms; they decide what "pump" or "seal" is.

        Returns
        -------
        DataFrame
            term, is_understood, is_doubtful; aligned with ``written``. A cell no list knows becomes the workshop's own
            term with ``is_understood`` false; an empty cell, or one that review said means nothing, has no term.
        """
        from pipeline.words import columns

        if list_name == "cause":
            return columns.match_causes(self, self.cause_reader, written, kinds)
        return columns.match_cells(self, list_name, self.cell_lists[list_name], written, kinds)

    def tells_something(self, text: str) -> bool:
        """Whether a text holds a word that is more than filler in every language in force."""
        for lexicon in self.lexicons:
            bases = lexicon.base_words(split(text))
            if all(base == "" or base in lexicon.effects for base in bases):
                return False
        return any(letter.isalnum() for letter in text)

    def names_only(self, text: str) -> bool:
        """Whether a text holds nothing but words that things are named by, in one of the languages in force."""
        return any(
            all(base == "" or base in lexicon.nouns for base in lexicon.base_words(split(text)))
            for lexicon in self.lexicons
        )

    def mended(self, text: str) -> list[tuple[str, str]]:
        """Words of a text taken for misspellings, with the word each was read as, in the language that knows most."""
        written = split(text)
        read = max((lexicon.base_words(written) for lexicon in self.lexicons), key=lambda bases: sum(map(bool, bases)))
        lexicon = next(one for one in self.lexicons if one.base_words(written) == read)
        plainly = [split_joined(MARKS.get(word, word)) for word in written]
        pairs = zip(plainly, read, strict=True)
        return [
            (word, base)
            for word, base in pairs
            if base and word.isalnum() and lexicon.vocabulary.base(word) is None and base not in lexicon.effects
        ]

    def find_symptoms(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Find the complaints in free text.

        Parameters
        ----------
        texts
            What customers say.
        kinds
            Kinds of appliance, as terms.

        Returns
        -------
        DataFrame
            row (position in ``texts``), symptom, is_negated ("not leaking"), is_doubtful ("? leaking"); one row a text
            and symptom, said wins over denied and sure over doubtful.
        """
        from pipeline.words import columns

        return columns.find_symptoms(self, self.complaint_reader, texts, kinds)

    def find_causes(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Find the causes named in free text, all of them.

        Returns
        -------
        DataFrame
            row, cause, is_doubtful.
        """
        from pipeline.words import columns

        return columns.find_causes(self, self.cause_reader, texts, kinds)

    def find_findings(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Find what was looked at and seen, in "water left=no; filter=clear" and in free text.

        Returns
        -------
        DataFrame
            row, finding, value, is_doubtful; one row a text and finding, the last value said. Findings and values that
            no list knows are kept as the workshop's own.
        """
        from pipeline.words import columns

        return columns.find_findings(self, self.finding_reader, texts, kinds)

    def findings_in(self, text: str, kind: str) -> list[tuple[str, str]]:
        """Give the findings of one text on one kind of appliance, each with its value."""
        import pandas as pd

        found = self.find_findings(pd.Series([text], dtype="str"), pd.Series([kind], dtype="str"))
        return list(zip(found["finding"], found["value"], strict=True))

    def says_again(self, texts: pd.Series[Any]) -> NDArray[np.bool_]:
        """Tell of each complaint whether it says no more than that the fault of the visit before is back."""
        from pipeline.words.bulk import as_texts
        from pipeline.words.same_again import says_again

        return says_again(as_texts(texts), list(self.lists.cues.values()))

    def unknown(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Give the words of complaints that no list knows.

        Returns
        -------
        DataFrame
            row, word; each word once a text.
        """
        from pipeline.words import columns

        return columns.unknown_words(self, self.complaint_reader, texts, kinds)

    def codes(self, written: pd.Series[Any], makes: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Read fault codes, lamps and flash counts by the rule of each make.

        Returns
        -------
        DataFrame
            row, code; "K07/K08" gives two rows.
        """
        from pipeline.words import columns

        return columns.find_codes(self.read_code, written, makes)

    def said_codes(self, texts: pd.Series[Any], makes: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Read the codes that complaints name: "won't drain, shows K07".

        Returns
        -------
        DataFrame
            row, code, as `codes`.
        """
        from pipeline.words import columns

        return columns.said_codes(self.read_code, texts, makes)

    def faults(self) -> pd.DataFrame:
        """Causes by kind and complaint: kinds, symptoms, cause, parts, share, action, minutes, expected, origin."""
        from pipeline.words import tables

        return tables.faults(self.lists)

    def checks(self) -> pd.DataFrame:
        """Checks: check, finding, values, kinds, minutes, power, covers, water, access, anyone, cautions."""
        from pipeline.words import tables

        return tables.checks(self.lists)

    def parts(self) -> pd.DataFrame:
        """Parts: part, price, minutes, by_eye, cautions."""
        from pipeline.words import tables

        return tables.parts(self.lists)

    def symptoms(self) -> pd.DataFrame:
        """Complaints: symptom, shows, stops."""
        from pipeline.words import tables

        return tables.symptoms(self.lists)

    def cautions(self) -> pd.DataFrame:
        """Cautions: caution, text."""
        from pipeline.words import tables

        return tables.cautions(self.lists)

    def kinds(self) -> pd.DataFrame:
        """Kinds of appliance: kind, cautions, to_workshop."""
        from pipeline.words import tables

        return tables.kinds(self.lists)

    def term_table(self) -> pd.DataFrame:
        """Every term: list, term, origin."""
        from pipeline.words import tables

        return tables.terms(self.lists)

    def cure_table(self) -> pd.DataFrame:
        """What cures what: kind, cause, part (missing = cured without a part), origin; one row a part."""
        from pipeline.words import tables

        return tables.cures(self.lists)

    def symptom_group_table(self) -> pd.DataFrame:
        """Complaints that may be one fault seen twice: symptom, symptom_group."""
        from pipeline.words import tables

        return tables.symptom_groups(self.lists)


@lru_cache
def _as_shipped(languages: tuple[str, ...]) -> Words:
    """Shipped lists alone: made ready once a process, however many workshops are opened."""
    return Words(word_lists.read_shipped(languages))


def _decisions(
    corrections: pd.DataFrame | Iterable[tuple[str, str, str | None]] | None,
) -> list[tuple[str, str, str | None]]:
    if corrections is None:
        return []
    import pandas as pd

    rows: Iterable[Any] = corrections
    if isinstance(corrections, pd.DataFrame):
        rows = corrections[["list", "written", "term"]].itertuples(index=False)
    return [(str(name), str(written), term if isinstance(term, str) else None) for name, written, term in rows]


def _decided_cure(cause: str, parts: str) -> dict[str, str]:
    """Give the row of a decision "this part cures this cause": parts split by |."""
    parts = "" if parts == "no part" else parts
    return {
        "kinds": "", "symptoms": "", "cause": cause, "parts": parts, "share": "5", "action": "", "minutes": "",
        "expected": "", "origin": "review",
    }  # fmt: skip
