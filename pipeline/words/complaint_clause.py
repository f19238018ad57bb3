"""What one clause of a complaint says: which complaints are there, which are denied, which are only suspected.

A *function* ("drain", "heat") is a complaint when it is denied or goes badly: "not draining", "slow to drain".
A *symptom* ("leak", "noisy") is a complaint when it stands there, and is denied by "not leaking".
An *opposite* ("quiet", "has power") denies a complaint, and is one when it is denied itself.
A part named right before a denied "start" or "come on" is what does not: "pump never comes on" is no dead appliance.
A *topic* ("screen", "battery") is like a function, but already its bare mention is a doubtful complaint.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Container, Mapping, Sequence

    from pipeline.words.lexicon import Lexicon
    from pipeline.words.phrases import Meaning

_COMPLAINTS = frozenset({"function", "symptom", "opposite", "topic"})
_OTHERS = frozenset({"block", "part", "thing"})
_UNKNOWN = "\ufffd"
_NOT = ("not", "no")
_SUBJECTS, _STATES = frozenset({"part", "thing"}), frozenset({"state"})
_PASSES = frozenset({"not", "no", "fail", "still"})
_BEFORE = _PASSES | {"bad", "ok", "doubt"}
_DEAD, _NO_FUNCTION = "dead", "does not work"
"""The complaint where an appliance does not start; where a part does not on which no function hangs."""


class Said(NamedTuple):
    """One complaint found in a clause."""

    symptom: str
    is_negated: bool
    is_doubtful: bool


class _Mention:
    """A complaint on its way through a clause."""

    def __init__(self, meaning: Meaning) -> None:
        self.is_function = meaning.group != "symptom"
        self.term = meaning.term
        self.is_denied = False
        self.is_carried = False  # denied only because the one before it in a list is
        self.is_topic = meaning.group == "topic"
        self.is_opposite = meaning.group == "opposite"
        self.goes: str | None = None
        self.is_doubtful = False
        self.at = (0, 0)

    def said(self) -> Said | None:
        if not self.is_function:
            return Said(self.term, self.is_denied, self.is_doubtful)
        if self.is_denied or self.goes == "bad":
            return Said(self.term, False, self.is_doubtful)
        if self.goes == "ok" or self.is_opposite:
            return Said(self.term, True, self.is_doubtful)
        return Said(self.term, False, True) if self.is_topic else None


class _Scope:
    """What is pending while a clause is read from left to right."""

    def __init__(self) -> None:
        self.mentions: list[_Mention] = []
        self.denies: str | None = None  # the cue that waits for what it denies
        self.goes: str | None = None  # "ok" or "bad" that waits for a function
        self.is_doubtful = False
        self.joined = ""  # "or", "and" or "comma" since the last mention
        self.is_right_after_join = False
        self.last: _Mention | None = None  # the mention that "ok", "bad" or "?" would speak of
        self.gaps = 0
        self.blamed: tuple[Meaning, str, tuple[int, int]] | None = None
        self.at = (0, 0)  # the words of the clause that are read now
        self.goes_on = False  # more is said of what is read now: "not cold, ice on the evaporator"

    def deny(self, cue: str, *, after: bool) -> None:
        last = self.last
        if after and cue == "not" and last is not None and not self.joined and not self.gaps and not last.is_denied:
            if last.goes == "ok":
                last.goes = "bad"
            else:
                last.is_denied = True
            return
        if self.denies is not None and cue == "fail" and not self.gaps:
            self.denies, self.goes = None, "ok"  # "never fails to"
            return
        self.denies, self.gaps, self.goes = cue, 0, None

    def join(self, cue: str) -> None:
        self.settle()
        if cue == "comma":
            self.is_doubtful = False
        if self.denies is not None and (self.last is None or self.joined != ""):
            self.denies = None
        self.joined = "or" if "or" in (cue, self.joined) else cue
        self.is_right_after_join = True
        self.goes = None

    def gap(self) -> None:
        self.settle()
        self.gaps += 1
        if self.denies == "fail" or self.gaps > 1:
            self.denies = None
        self.goes = None
        if self.gaps > 1:
            self.last = None

    def judge(self, goes: str) -> None:
        """Take "ok" or "bad" in: denied it means its opposite; it speaks of the mention before it, else of the next."""
        is_denied, self.denies = self.denies is not None, None
        if is_denied:
            goes = "bad" if goes == "ok" else "ok"
        last = self.last
        if last is None or self.joined or (last.goes is not None and not is_denied):
            self.goes = goes
        elif last.is_carried and goes == "ok":
            last.is_denied, last.goes = False, "ok"
        elif not last.is_denied:
            last.goes = goes

    def blame(self, meaning: Meaning, word: str) -> None:
        """Take in a word like "faulty": it judges what stands beside it; beside nothing it is a complaint."""
        if self.denies is None and (self.last is None or self.joined or not self.last.is_function):
            self.blamed = meaning, word, self.at
        self.judge("bad")

    def settle(self) -> None:
        """Make a word like "faulty" that judged nothing a complaint."""
        if self.blamed is not None and self.goes == "bad":
            (meaning, word, at), self.blamed, self.goes = self.blamed, None, None
            self.mention(meaning, [word])
            self.mentions[-1].at = at

    def mention(self, meaning: Meaning, words: Sequence[str]) -> None:
        mention = _Mention(meaning)
        mention.at = self.at
        if any(word in _NOT for word in words):  # the phrase brings its own denial: "not hot enough", "door not open"
            mention.is_function, mention.is_denied = True, True
        elif self.denies is not None:
            mention.is_denied = True
        elif self.goes is None and self._carries(mention, len(words)):
            mention.is_denied, mention.is_carried = True, self.joined != "or"
        mention.is_doubtful = self.is_doubtful
        if self.goes is not None and mention.is_function and not mention.is_denied:
            mention.goes = self.goes
        self.mentions.append(mention)
        self.last = mention
        self.denies, self.goes, self.joined, self.gaps, self.is_right_after_join = None, None, "", 0, False

    def _carries(self, mention: _Mention, length: int) -> bool:
        """Tell whether the denial of the last mention holds on: "won't drain or spin", "won't drain, spin"."""
        if self.last is None or not self.last.is_denied or self.gaps:
            return False
        if self.joined == "or":
            return True
        is_bare = self.is_right_after_join and length == 1 and not mention.is_opposite
        is_bare = is_bare and not (self.joined == "comma" and self.goes_on)
        return self.joined in ("and", "comma") and is_bare and mention.is_function and self.last.is_function


def read_clause(
    words: Sequence[str], kind: str | None, lexicon: Lexicon, functions: Mapping[tuple[str, str | None], str]
) -> list[Said]:
    """Give the complaints of one clause.

    Parameters
    ----------
    words
        Base words of the clause, unknown ones as one gap.
    kind
        Kind of appliance; None = not known, then only what means the same for every kind counts.
    lexicon
        The language.
    functions
        (part, kind) and (part, None) for every kind → complaint when the part does not start.
    """
    mentions = _mentions(words, kind, lexicon, functions)
    return [said for said in (mention.said() for mention in mentions) if said is not None]


def words_of_complaints(
    words: Sequence[str],
    kind: str | None,
    lexicon: Lexicon,
    functions: Mapping[tuple[str, str | None], str],
    spared: Container[str],
) -> list[tuple[int, int]]:
    """Give where in a clause its complaints stand, with the words beside them that deny or judge them.

    Parameters are those of `read_clause`, and complaints whose words are left where they stand.
    """
    effects, taken = lexicon.effects, list[tuple[int, int]]()
    for mention in _mentions(words, kind, lexicon, functions):
        said, (begin, end) = mention.said(), mention.at
        if said is None or said.is_negated or said.symptom in spared:
            continue
        while begin and (effects.get(words[begin - 1]) in _BEFORE or words[begin - 1] in lexicon.light):
            begin -= 1
        after = ("bad", "not") if lexicon.denies_after else ("bad",)
        while end < len(words) and effects.get(words[end]) in after:
            end += 1
        taken.append((begin, end))
    return taken


def names_only_functions(
    words: Sequence[str], kind: str | None, lexicon: Lexicon, functions: Mapping[tuple[str, str | None], str]
) -> bool:
    """Whether a clause does no more than name when it happens: "when spinning"."""
    named = {at for mention in _mentions(words, kind, lexicon, functions) for at in range(*mention.at)}
    return all(at in named or word in lexicon.light or word in lexicon.effects for at, word in enumerate(words))


def _mentions(
    words: Sequence[str], kind: str | None, lexicon: Lexicon, functions: Mapping[tuple[str, str | None], str]
) -> list[_Mention]:
    """Read a clause from left to right."""
    scope = _Scope()
    subject: tuple[str, ...] = ()
    effects, tree = lexicon.effects, lexicon.tree
    complaints, others = tree.for_kind(kind, _COMPLAINTS), tree.for_kind(kind, _OTHERS)
    position = 0
    while position < len(words):
        word = words[position]
        complaint = tree.longest_in(complaints, words, position)
        other = tree.longest_in(others, words, position)
        if complaint and other and complaint[0] < other[0] and scope.denies is not None and not scope.gaps:
            other = None if _is_state_of_next(words, complaint[0], other[0], kind, lexicon) else other
        if complaint is not None and _is_preposition(words, position, complaint[0], lexicon):
            complaint = None
        if complaint is not None and (other is None or complaint[0] >= other[0]):
            end = complaint[0]
            scope.at = position, end
            scope.goes_on = end < len(words) and words[end] not in effects
            if effects.get(word) == "work" and end - position == 1:
                _work(scope, complaint[1][0], after=lexicon.denies_after)
            elif effects.get(word) == "bad" and end - position == 1:
                scope.blame(complaint[1][0], word)
            else:
                meaning = complaint[1][0]
                if subject and meaning.term == _DEAD and _is_told(meaning, scope, lexicon):
                    meaning = meaning._replace(term=_without_part(subject, kind, functions))
                scope.mention(meaning, words[position:end])
            subject = _parts(other) if other is not None and other[0] == end else ()
            position = end
        elif other is not None and (other[0] - position > 1 or word not in effects):
            if scope.denies == "no":
                scope.denies = None
            scope.is_right_after_join = False
            subject = _parts(other)
            position = other[0]
        else:
            if effects.get(word) not in _PASSES and word not in lexicon.light:
                subject = ()
            _hear(scope, word, effects.get(word), after=lexicon.denies_after)
            position += 1
    scope.settle()
    return scope.mentions


def _is_preposition(words: Sequence[str], position: int, end: int, lexicon: Lexicon) -> bool:
    """Whether a single light word stands before what it belongs to: "does not hold on | the hinge side" is not dead."""
    is_alone = end - position == 1 and words[position] in lexicon.light
    return is_alone and end < len(words) and words[end] not in lexicon.effects and words[end] not in lexicon.light


def _is_state_of_next(words: Sequence[str], end: int, other: int, kind: str | None, lexicon: Lexicon) -> bool:
    """Whether what is denied ends before the state of another thing: "not draining | filter clear".

    Read on to ``other`` it would be the name of that thing, "drain filter".
    """
    tree = lexicon.tree
    thing = tree.longest_in(tree.for_kind(kind, _SUBJECTS), words, end)
    if thing is None or thing[0] != other:
        return False
    while other < len(words) and words[other] in lexicon.light:
        other += 1
    if other < len(words) and lexicon.effects.get(words[other]) in ("ok", "bad"):
        return True
    return tree.longest_in(tree.for_kind(kind, _STATES), words, other) is not None


def _parts(found: tuple[int, list[Meaning]]) -> tuple[str, ...]:
    return tuple(meaning.term for meaning in found[1] if meaning.group in _SUBJECTS)


def _is_told(meaning: Meaning, scope: _Scope, lexicon: Lexicon) -> bool:
    """Tell whether a complaint is there: named as one, or a function denied before it or, as in German, after it."""
    return meaning.group == "symptom" or scope.denies is not None or lexicon.denies_after


def _without_part(parts: Sequence[str], kind: str | None, functions: Mapping[tuple[str, str | None], str]) -> str:
    """Give the complaint where a part, which may be any of these, does not start."""
    told = (functions.get((part, kind)) or functions.get((part, None)) for part in parts)
    return next(filter(None, told), _NO_FUNCTION)


def _work(scope: _Scope, meaning: Meaning, *, after: bool) -> None:
    """Take "works" in: it speaks of a function just named, else of the appliance."""
    last = scope.last
    if last is not None and last.is_function and not last.is_denied and last.goes is None and scope.joined == "":
        if scope.denies is not None:
            last.is_denied = True
        else:
            last.goes = "ok"
        scope.denies, scope.gaps = None, 0
    elif scope.denies is not None or (after and (last is None or scope.joined)):
        scope.mention(meaning, ["work"])
    else:
        scope.goes = None


def _hear(scope: _Scope, word: str, effect: str | None, *, after: bool) -> None:
    """Take a single word in that is no phrase."""
    if word == _UNKNOWN:
        scope.gap()
    elif effect in ("not", "no", "fail"):
        scope.deny(effect, after=after)
    elif effect in ("ok", "bad"):
        scope.judge(effect)
    elif effect == "still":
        scope.goes = "ok" if scope.denies is None else None
    elif effect == "doubt":
        scope.is_doubtful = True
    elif effect == "doubt after":
        if scope.last is not None and not scope.gaps:
            scope.last.is_doubtful = True
        scope.join("comma")
    elif effect == "with" and scope.denies == "fail":
        scope.denies = None
    elif effect == "confirm":
        scope.is_doubtful, scope.denies = False, None
    elif effect in ("or", "and", "comma"):
        scope.join(effect)
    elif scope.denies == "no" and scope.gaps:
        scope.denies = None
    if effect not in ("or", "and", "comma", "doubt after"):
        scope.is_right_after_join = scope.is_right_after_join and effect in ("doubt", "still")
