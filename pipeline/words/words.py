"""The face of the word lists: columns of written words in, terms out."""

from __future__ import annotations

from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.words import lists as word_lists
from pipeline.words.own_lists import read_own
from pipeline.words.vocabulary import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import pandas as pd

    from pipeline.words.bulk import ClauseReader
    from pipeline.words.cells import CellList
    from pipeline.words.lexicon import Lexicon
    from pipeline.words.lists import WordLists
    from pipeline.words.rules import Cause, CauseRules, Finding, FindingRules
    from pipeline.words.scope import Said


class Words:
    """Word lists in force: shipped, the workshop's own, and the decisions taken in review.

    Loading reads the lists; they are made ready for a column when the first one comes.
    Terms are English whatever the language of the texts.
    """

    def __init__(self, lists: WordLists) -> None:
        self.lists = lists

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
        lists = word_lists.read_shipped(tuple(languages))
        for path in extra:
            read_own(lists, Path(path))
        for name, written, term in _decisions(corrections):
            if term is None:
                lists.silenced.add((name, plain(written)))
            elif name in word_lists.LISTS:
                lists.silenced.discard((name, plain(written)))
                word_lists.add_term(lists, name, term, [written], origin="review")
                word_lists.add_row(lists, name, term, origin="review")
            elif name == "cure":
                lists.faults.append(_decided_cure(written, term))
        return cls(lists)

    @cached_property
    def lexicons(self) -> list[Lexicon]:
        """The languages, made ready."""
        from pipeline.words.lexicon import Lexicon

        known = self._silent_words
        return [
            Lexicon(language, phrases, self.lists.cues[language], [*self.lists.known[language], *known])
            for language, phrases in self.lists.phrases.items()
        ]

    @cached_property
    def _silent_words(self) -> list[str]:
        return sorted({text for _list, text in self.lists.silenced if " " not in text})

    @cached_property
    def kind_names(self) -> frozenset[str]:
        """Kinds that the lists know; for any other only what means the same for every kind is understood."""
        return frozenset(row["kind"] for row in self.lists.kinds)

    @cached_property
    def _cell_lists(self) -> dict[str, CellList]:
        from pipeline.words.cells import CellList

        parts = {row["part"] for row in self.lists.parts}
        named = {name: phrases for name, phrases in self.lists.cells.items() if name in word_lists.LISTS}
        named["part"] = [
            p for phrases in self.lists.phrases.values() for p in phrases if p.group == "part" and p.term in parts
        ]
        forms = {form: base for cues in self.lists.cues.values() for form, base in cues.get("forms", {}).items()}
        return {
            name: CellList(name, phrases, self.lists.ignored.get(name, ()), forms if name == "part" else None)
            for name, phrases in named.items()
        }

    @cached_property
    def _cause_rules(self) -> CauseRules:
        from pipeline.words.rules import CauseRules

        own = [row for row in self.lists.faults if row["origin"] != "shipped"]
        every = [
            *self.lists.faults,
            *({"cause": p.term, "kinds": "|".join(p.kinds)} for p in self._own_causes if own or p),
        ]
        return CauseRules(self.lists.cause_rules, every)

    @property
    def _own_causes(self) -> list[Any]:
        first = next(iter(self.lists.phrases.values()), [])
        return [phrase for phrase in first if phrase.group == "cause" and phrase.origin != "shipped"]

    @cached_property
    def finding_rules(self) -> FindingRules:
        """Findings and their values."""
        from pipeline.words.rules import FindingRules

        return FindingRules(self.lists.finding_rules, self.lists.checks)

    @cached_property
    def _complaints(self) -> ClauseReader[Said]:
        from pipeline.words.bulk import ClauseReader
        from pipeline.words.scope import read_clause

        return ClauseReader(self.lexicons, read_clause)

    @cached_property
    def _causes(self) -> ClauseReader[Cause]:
        from pipeline.words.bulk import ClauseReader
        from pipeline.words.seen import read_note

        rules = self._cause_rules
        return ClauseReader(
            self.lexicons, lambda words, kind, lexicon: rules.read(read_note(words, kind, lexicon), kind)
        )

    @cached_property
    def _findings(self) -> ClauseReader[Finding]:
        from pipeline.words.bulk import ClauseReader
        from pipeline.words.seen import WITHOUT_CAUSES, read_note

        rules = self.finding_rules
        return ClauseReader(
            self.lexicons,
            lambda words, kind, lexicon: rules.read(read_note(words, kind, lexicon, WITHOUT_CAUSES), kind),
        )

    @cached_property
    def _read_code(self) -> Callable[[str, str | None], list[str]]:
        """Reads one cell of codes of a make; the same few come again and again."""
        from pipeline.words.codes import CodeRule, read_codes

        rules, plainly = self.lists.codes, CodeRule()

        @lru_cache(maxsize=100_000)
        def read(text: str, make: str | None) -> list[str]:
            return read_codes(text, rules.get(plain(make).strip(), plainly) if make else plainly)

        return read

    def read_note(self, text: str, kind: str | None) -> list[Finding]:
        """Give the findings of one short note."""
        import numpy as np
        import pyarrow as pa

        texts = pa.array([text.encode("utf-8", "replace").decode()], pa.large_string())
        found = list(self._findings.find(texts, [kind], np.zeros(1, dtype=np.int64)))
        items = self._findings.found
        return [items[at] for _rows, which in found for at in which.tolist()]

    def things_in(self, text: str, kind: str | None) -> list[str]:
        """Give the things that a short text names."""
        from pipeline.words.seen import WITHOUT_CAUSES, read_note

        found: list[str] = []
        for lexicon in self.lexicons:
            bases = [base for base in lexicon.spelt_bases(text) if base]
            found += [thing for seen in read_note(bases, kind, lexicon, WITHOUT_CAUSES) for thing in seen.things]
        return list(dict.fromkeys(found))

    def written_forms(self, list_name: str) -> list[tuple[str, str]]:
        """Give the written forms of a list with the term each means, to compare spellings with.

        For complaints, single words stand for the term in whose forms they stand, where there is only one.
        """
        if list_name in self.lists.cells:
            return [(phrase.written, phrase.term) for phrase in self.lists.cells[list_name]]
        groups = {"complaint": ("symptom", "function"), "finding": ("thing",)}.get(list_name, (list_name,))
        phrases = [p for held in self.lists.phrases.values() for p in held if p.group in groups]
        if list_name == "finding":
            return [(finding, finding) for finding in self.finding_rules.values]
        forms = [(phrase.written, phrase.term) for phrase in phrases]
        if list_name != "complaint":
            return forms
        terms_of: dict[str, set[str]] = {}
        for form, term in forms:
            for word in form.split():
                if any(lexicon.vocabulary.base(word) == "" for lexicon in self.lexicons):
                    continue
                terms_of.setdefault(word, set()).add(term)
        return forms + [(word, next(iter(terms))) for word, terms in sorted(terms_of.items()) if len(terms) == 1]

    def states_in(self, text: str) -> set[str]:
        """Give the states that a short text names, in any language."""
        return {state for lexicon in self.lexicons for state in lexicon.states_in(text)}

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
            return columns.match_causes(self, self._causes, written, kinds)
        return columns.match_cells(self, list_name, self._cell_lists[list_name], written, kinds)

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

        return columns.find_symptoms(self, self._complaints, texts, kinds)

    def find_causes(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Find the causes named in free text, all of them.

        Returns
        -------
        DataFrame
            row, cause, is_doubtful.
        """
        from pipeline.words import columns

        return columns.find_causes(self, self._causes, texts, kinds)

    def find_findings(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Find what was looked at and seen, in "water left=no; filter=clear" and in free text.

        Returns
        -------
        DataFrame
            row, finding, value, is_doubtful; one row a text and finding, the last value said. Findings and values that
            no list knows are kept as the workshop's own.
        """
        from pipeline.words import columns

        return columns.find_findings(self, self._findings, texts, kinds)

    def unknown(self, texts: pd.Series[Any], kinds: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Give the words of complaints that no list knows.

        Returns
        -------
        DataFrame
            row, word; each word once a text.
        """
        from pipeline.words import columns

        return columns.unknown_words(self, self._complaints, texts, kinds)

    def codes(self, written: pd.Series[Any], makes: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Read fault codes, lamps and flash counts by the rule of each make.

        Returns
        -------
        DataFrame
            row, code; "F05/F06" gives two rows.
        """
        from pipeline.words import columns

        return columns.find_codes(self._read_code, written, makes)

    def said_codes(self, texts: pd.Series[Any], makes: pd.Series[Any] | None = None) -> pd.DataFrame:
        """Read the codes that complaints name: "won't drain, shows F05".

        Returns
        -------
        DataFrame
            row, code, as `codes`.
        """
        from pipeline.words import columns

        return columns.said_codes(self._read_code, texts, makes)

    def faults(self) -> pd.DataFrame:
        """Causes by kind and complaint: kinds, symptoms, cause, parts, share, action, minutes, expected, origin."""
        from pipeline.words import tables

        return tables.faults(self.lists)

    def checks(self) -> pd.DataFrame:
        """Checks: check, finding, values, kinds, minutes, power, covers, water, access, cautions."""
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
        """Kinds of appliance: kind, cautions."""
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
