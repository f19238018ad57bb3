"""The lists in force made ready to read with: each part is built when the first text comes."""

from __future__ import annotations

from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

from pipeline.words import lists as word_lists
from pipeline.words.vocabulary import plain

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.words.bulk import ClauseReader
    from pipeline.words.cells import CellList
    from pipeline.words.complaint_clause import Said
    from pipeline.words.lexicon import Lexicon
    from pipeline.words.lists import WordLists
    from pipeline.words.rules import Cause, CauseRules, Finding, FindingRules


class ReadyLists:
    """Word lists with their lexicons, rules and readers."""

    def __init__(self, lists: WordLists) -> None:
        self.lists = lists

    @cached_property
    def lexicons(self) -> list[Lexicon]:
        """The languages, made ready."""
        from pipeline.words.lexicon import Lexicon

        known = self._silent_words
        return [
            Lexicon(
                language,
                phrases,
                self.lists.cues[language],
                [*self.lists.known[language], *known],
                self.lists.spelt[language],
            )
            for language, phrases in self.lists.phrases.items()
        ]

    @cached_property
    def _silent_words(self) -> list[str]:
        return sorted({text for _list, text in self.lists.silenced if " " not in text})

    @cached_property
    def part_names(self) -> frozenset[str]:
        """Parts that the lists know."""
        return frozenset(row["part"] for row in self.lists.parts)

    @cached_property
    def denying(self) -> frozenset[str]:
        """Words that deny, of all languages in force."""
        return self._cue_words("not", "fail", "determiner")

    @cached_property
    def determiners(self) -> frozenset[str]:
        """Denying words that turn only what stands right behind them, of all languages in force."""
        return self._cue_words("determiner")

    @cached_property
    def filler(self) -> frozenset[str]:
        """Words that name nothing by themselves, of all languages in force: "in the", "will not"."""
        ignored = (cues.get("ignore", {}) for cues in self.lists.cues.values())
        passed_over = {word for found in ignored for name in ("words", "light") for word in found.get(name, "").split()}
        return self._cue_words("not", "fail", "determiner", "still", "or", "and", "with", "break") | passed_over

    @cached_property
    def doubting(self) -> frozenset[str]:
        """Words that doubt, of all languages in force."""
        return self._cue_words("doubt", "doubt after")

    def _cue_words(self, *names: str) -> frozenset[str]:
        return frozenset(
            word for cues in self.lists.cues.values() for name in names for word in cues["cue"].get(name, "").split()
        )

    @cached_property
    def kind_names(self) -> frozenset[str]:
        """Kinds that the lists know; for any other only what means the same for every kind is understood."""
        return frozenset(row["kind"] for row in self.lists.kinds)

    @cached_property
    def cell_lists(self) -> dict[str, CellList]:
        """Lists of whole cells, by name."""
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

        every = [
            *self.lists.faults,
            *({"cause": p.term, "kinds": "|".join(p.kinds)} for p in self._own_causes),
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
    def complaint_reader(self) -> ClauseReader[Said]:
        """Reads what is complained of."""
        from pipeline.words.bulk import ClauseReader
        from pipeline.words.complaint_clause import read_clause

        functions = self.lists.part_functions
        return ClauseReader(self.lexicons, lambda words, kind, lexicon: read_clause(words, kind, lexicon, functions))

    @cached_property
    def cause_reader(self) -> ClauseReader[Cause]:
        """Reads which causes a note names."""
        from pipeline.words.bulk import ClauseReader
        from pipeline.words.note_clause import read_note

        rules = self._cause_rules
        return ClauseReader(
            self.lexicons, lambda words, kind, lexicon: rules.read(read_note(words, kind, lexicon), kind)
        )

    @cached_property
    def finding_reader(self) -> ClauseReader[Finding]:
        """Reads what a note says was seen."""
        from pipeline.words.bulk import ClauseReader
        from pipeline.words.note_clause import WITHOUT_CAUSES, read_note

        rules = self.finding_rules
        return ClauseReader(
            self.lexicons,
            lambda words, kind, lexicon: rules.read(read_note(words, kind, lexicon, WITHOUT_CAUSES), kind),
        )

    @cached_property
    def read_code(self) -> Callable[[str, str | None], list[str]]:
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
        found = list(self.finding_reader.find(texts, [kind], np.zeros(1, dtype=np.int64)))
        items = self.finding_reader.found
        return [items[at] for _rows, which in found for at in which.tolist()]

    def things_in(self, text: str, kind: str | None) -> list[str]:
        """Give the things that a short text names."""
        from pipeline.words.note_clause import WITHOUT_CAUSES, read_note

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
        from pipeline.words.note_clause import states_in

        return {state for lexicon in self.lexicons for state in states_in(text, lexicon)}
