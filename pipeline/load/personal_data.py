"""What in a text reaches a person (telephone, e-mail, card, account, address, name), and the mask in its place."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.load.hashes import NO_CUSTOMER
from pipeline.values.distinct import arrow_text, plain

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    import pyarrow as pa

_AT = r" ?(?:[(\[{<] ?(?:at|@) ?[)\]}>]|＠|@) ?"
_DOT = r"(?:\.| ?[(\[{] ?(?:dot|punkt|\.) ?[)\]}] ?)"
_EMAIL = re.compile(
    r"[\w.+'%-]{1,64}@[\w-]{1,63}(?:\.[\w-]{1,63}){0,5}\.[^\W\d_]{2,24}\b"
    rf"|[\w.+-]{{1,64}}{_AT}[\w-]{{1,63}}(?:{_DOT}[\w-]{{2,63}}){{0,3}}{_DOT}[^\W\d_]{{2,24}}\b"
    r"|[\w.+-]{1,64} at [\w-]{1,63} (?:dot|punkt) [\w-]{2,63}(?: (?:dot|punkt) [\w-]{2,3})?"
    r"|(?-i:[\w.+-]{1,64} AT [\w-]{1,63}(?: DOT |\.)[\w-]{2,63})",
    re.IGNORECASE,
)
# A number that is no phone stands behind one of these, or before a unit.
_NO_PHONE_BEFORE = re.compile(
    r"(?:\b(?:part|parts|p/?n|pt|pnc|no|nr|number|ref|serial|ser|s/?n|sn|model|mod|codes?|errors?|err|faults?|lamps?|readings?|job|order|invoice|inv|art|e-?nr|"
    r"prod|product|batch|barcode|ean|imei)\b\.?(?: ?(?:no|nr|number|code)\b\.?)?|"
    r"type|pcb|board|firmware|sw|version|fd|mac|[£€$@=#]|\bx)[ :]*$",
    re.IGNORECASE,
)
_PHONE_WORD_BEFORE = re.compile(
    r"\b(?:tel|tel\.? ?no|telephone|phone|ph|mob|mobile|cell|call|ring|rang|text|whatsapp|"
    r"t|m|contact|fon|telefon|handy|mobil|"
    r"(?:phone|tel|mob|mobile|contact) (?:no|number|nr))\b\.?(?: (?:him|her|them|on|back|cust|customer|first))*[ :.]*$",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"(?<![\w/])(?<![0-9][.,])(?:\+|\(\+?)?[0-9](?:[ ()./-]{0,3}[0-9]){6,16}(?![\w]|[.,][0-9]|/[0-9])")
# Numbers of countries that write no leading zero, by their usual groups: common practice, no source.
_GROUPED = re.compile(
    r"\(?[2-9][0-9]{2}\)?[ .-]{0,2}[2-9][0-9]{2}[ .-]?[0-9]{4}"  # North America, area and exchange from 2
    r"|\(?[2-9][0-9]{2}\)?[ .-]{1,2}[0-9]{3}[ .-][0-9]{4}"
    r"|1[ .-]\(?[2-9][0-9]{2}\)?[ .-]?[2-9][0-9]{2}[ .-]?[0-9]{4}"
    r"|[6789][0-9]{2}[ .-][0-9]{2}[ .-][0-9]{2}[ .-][0-9]{2}|[67][0-9]{8}"  # Spain
    r"|[1-9][0-9]{2}[ -][0-9]{3}[ -][0-9]{3}"  # Spain, Poland, Portugal
    r"|[1-9][0-9][ -][0-9]{3}[ -][0-9]{2}[ -][0-9]{2}"  # Poland, landline
    r"|[6-9][0-9]{4}[ -]?[0-9]{5}"  # India
    r"|3[0-9]{2}[ ./-]?(?:[0-9]{6,7}|[0-9]{3}[ .-][0-9]{3,4})"  # Italy, mobile
)
# A cell that is a number of something: digits alone, or joined by strokes.
_BARE = re.compile(r"[0-9]+(?:[./-][0-9]+)*")
_CARD = re.compile(
    r"(?<![\w.,])[3-6][0-9]{3}(?:[ -]?[0-9]{4}){2}[ -]?[0-9]{1,7}(?![\w])"
    r"|(?<!\w)3[0-9]{3}[ -]?[0-9]{6}[ -]?[0-9]{5}(?!\w)"
)
_IBAN = re.compile(r"\b[A-Z]{2}[0-9]{2}(?: ?[A-Z0-9]{4}){2,7}(?: ?[A-Z0-9]{1,3})?\b", re.IGNORECASE)
_LABELLED = re.compile(
    r"(?P<label>\b(?:(?:sort code|s/c|account|acct|acc|a/c|konto(?:nummer|nr)?|cuenta|compte|conto)\b\.?"
    r"(?: ?(?:no|nr|number|nummer)\b\.?)?"
    r"|(?:key ?safe|key ?box|lock ?box|key code|door code|gate code|alarm code|alarm|entry code"
    r"|schlüsselbox|türcode)\b\.?(?: ?(?:code|no|number|nr|is)\b)*"
    r"|(?:d\.?o\.?b\.?|date of birth|born(?: on)?|birthday|geb(?:oren)?(?: am)?|geburtsdatum"
    r"|né(?:e)? le|nacido el|nato il)"
    r"|(?:number ?plate|licen[cs]e plate|plate no|car reg|van reg|reg(?:istration)? no|kennzeichen)\b\.?)[ :.=#-]{1,3})"
    r"(?P<value>(?:[A-Z]{1,3}-)?[A-Z]{0,3}[-# ]?[0-9][0-9A-Z./ -]{1,20}[0-9A-Z]|[0-9]{3,})",
    re.IGNORECASE,
)
_UNIT_AFTER = re.compile(
    r"\s*(?:k|m|µ|u|n|p)?(?:ohms?|Ω|Ω|hz|v|w|kwh|amps?|a|mm|cm|rpm|f|uf|psi|bar|kg|g|hours?|hrs?|mins?|cycles?|%|°|pcs)\b",
    re.IGNORECASE,
)
_DATE_OR_TIME = re.compile(
    r"(?:[12][0-9]{3}[-/. ][0-9]{1,2}[-/. ][0-9]{1,2}|(?:0?[1-9]|[12][0-9]|3[01])[-/. ]"
    r"(?:0?[1-9]|[12][0-9]|3[01])[-/. ](?:[12][0-9]{3}|[0-9]{2}))"
    r"(?:[ ,-]+[0-9]{1,2}(?:[:. ][0-9]{2}){0,2})?"
)
_UK_AREAS = (
    "AB|AL|BA|BB|BD|BH|BL|BN|BR|BS|BT|CA|CB|CF|CH|CM|CO|CR|CT|CV|CW|DA|DD|DE|DG|DH|DL|DN|DT|DY|EC|EH|EN|EX|FK|FY|GL|GU|"
    "GY|HA|HD|HG|HP|HR|HS|HU|HX|IG|IM|IP|IV|JE|KA|KT|KW|KY|LA|LD|LE|LL|LN|LS|LU|ME|MK|ML|NE|NG|NN|NP|NR|NW|OL|OX|PA|PE|PH|"
    "PL|PO|PR|RG|RH|RM|SA|SE|SG|SK|SL|SM|SN|SO|SP|SR|SS|ST|SW|SY|TA|TD|TF|TN|TQ|TR|TS|TW|UB|WA|WC|WD|WF|WN|WR|WS|WV|YO|ZE|"
    "B|E|G|L|M|N|S|W"
)
_UK_POSTCODE = re.compile(
    rf"\b(?:{_UK_AREAS})[0-9][0-9A-HJKMNP-Y]?(?P<gap> ?)(?P<inward>[0-9][ABD-HJLNP-UW-Z]{{2}})\b", re.IGNORECASE
)
_NOT_INWARD = re.compile(
    r"1ST|2ND|3RD|[04-9]TH|[0-9](?:AH|HZ|FT|LB|LT|PA|WH|PH|HP|HR|YR|TX|LE|PT|UF|NF|PF|RD|ST|ND)", re.IGNORECASE
)
_OTHER_POSTCODE = re.compile(
    r"\b[ABCEGHJ-NPRSTVXY][0-9][A-Z] [0-9][A-Z][0-9]\b|\bD-[0-9]{5}\b"
    r"|\b(?P<label>(?i:post ?code|zip(?: code)?|plz)[ :]{1,3})"
    r"(?:[A-Za-z]{1,2}[0-9][A-Za-z0-9]? ?[0-9][A-Za-z]{2}|[0-9]{4,5}(?:-[0-9]{4}| ?[A-Z]{2})?)\b"
)
_SURE_STREET = "street|road|avenue|lane|crescent|gardens|terrace|grove|mews|boulevard"
_LIKELY_STREET = (
    "st|rd|ave|ln|cres|close|drive|way|court|place|square|hill|row|walk|park|rise|view|bank|yard|wharf|quay|parade|green|"
    "croft|fold|mount|vale|approach|meadows?|fields?|buildings|cottages|villas|bridge|gate"
)
_NO_STREET_NAME = (
    r"(?!(?i:door|belt|direct|drive|motor|drum|gear|water|inlet|outlet|valve|pump|drain|two|three|four|one|the|of|in|on|"
    r"to|for|a|an|by|from|all|half|top|bottom|left|right|each|times|flashes|blocked|lamps?|years?|hours?|mins?)\b)"
    rf"(?!(?:old|new)\b|(?:Old|New) (?i:{_LIKELY_STREET})\b(?! (?i:{_SURE_STREET})\b))"
)
_SAINT = r"(?:S(?:ain)?t\.? )?"
_NAME_WORD = "[A-Za-z'’-]{3,20}"
# Behind its street, or it could be "12000 Stunden".
_TOWN = r",? (?:[A-Z]{1,2}-)?(?:[0-9]{5}|[0-9]{4}(?: ?[A-Z]{2})?) "
_TOWN += r"(?!(?:Betriebs)?[Ss]tunden|Zyklen|Umdrehungen|Watt|Volt|Ohm|Hertz|Euro)[A-ZÀ-Þ][\w'’-]{2,25}"
_ADDRESS = re.compile(
    r"\b(?:(?i:flat|unit|apt\.?) ?[0-9]{1,4}[a-z]?,? )?[0-9]{1,4}[a-zA-Z]?,? "
    rf"{_NO_STREET_NAME}(?:{_SAINT}{_NAME_WORD} (?:{_NO_STREET_NAME}{_NAME_WORD} )?(?i:{_SURE_STREET})\b"
    rf"|(?=[A-Z]){_SAINT}{_NAME_WORD} (?:(?=[A-Z]){_NAME_WORD} )?(?=[A-Z])(?i:{_LIKELY_STREET})\b\.?)"
    r"|(?:\b(?:Am|Im|Zum|Zur|Beim|(?:An|Auf|In|Unter|Hinter|Vor) de[rmn]) [A-ZÄÖÜ][a-zäöüß-]{2,25} "
    rf"[0-9]{{1,4}}(?: ?[a-z])?(?={_TOWN}\b)"
    r"|\b[A-ZÄÖÜ][a-zäöüß-]{2,25}(?:straße|strasse|str\.?|weg|platz|allee|gasse|ring|damm|ufer) ?"
    r"[0-9]{1,4}(?: ?[a-z])?\b"
    r"|\b[A-Z][a-zé-]{2,25}(?:straat|laan|weg|plein|gracht|kade|dijk|singel) [0-9]{1,4}(?: ?[a-z])?\b"
    r"|\b[0-9]{1,4}(?: ?(?:bis|ter))?,? (?i:rue|avenue|boulevard|bd|allée|chemin|place|impasse|quai) "
    r"(?:(?:de|du|des|la|le|les|l'|d') ?){0,3}[A-ZÀ-Ý][\w'’-]{1,25}(?: [A-ZÀ-Ý][\w'’-]{1,25})?"
    r"|(?:\b(?i:calle|avenida|avda\.?|plaza|paseo|via|viale|piazza|corso|largo|vicolo)|\bC/) ?"
    r"(?:(?:de|del|la|las|los|el|di|della|dei) ){0,3}[A-ZÀ-Ý][\w'’-]{1,25}"
    r"(?: [A-ZÀ-Ý][\w'’-]{1,25})?,? (?:n[º°.]? ?)?[0-9]{1,4}\b)"
    rf"(?:{_TOWN}\b)?"
)
_SURE_ADDRESS = re.compile(
    rf"\b[0-9]{{1,4}}[a-zA-Z]?,? {_NO_STREET_NAME}{_SAINT}{_NAME_WORD} (?:{_NO_STREET_NAME}{_NAME_WORD} )?"
    rf"(?i:{_SURE_STREET})\b|\b[A-ZÄÖÜ][a-zäöüß-]{{2,25}}(?:straße|strasse|allee|gasse) ?[0-9]{{1,4}}(?: ?[a-z])?\b"
)
"""A street of a kind that no part and no code is named by: "Dichtring 25" is a part."""
_OF_PERSONS = (
    "(?:rang|rings|called|calls|phoned|texted|emailed|says|said|reports|reported|wants|wanted|asks|asked|told|tells|complains|"
    "complained|confirmed|insists|rief|ruft|sagt|sagte|möchte|meldet|meldete|bittet|bat|wünscht|klagt|reklamiert)"
)
"""What only persons do: the word before it is their name, where two follow a title; other nouns are capitals too."""
_TITLE = (
    r"(?:Mrs|Mr|Ms|Miss|Mx|Dr|Prof|Rev|Herrn|Herr|Frau|MRS|MR|MISS|Mme|Mlle|Monsieur|Madame|Señora|Señor|Sra|Sr|Signora|"
    r"Signor|Sig\.ra|Sig|Dhr|Mevr|Mevrouw|Meneer|Pan|Pani)\.? "
)
_NAME = re.compile(
    rf"\b{_TITLE}(?:{_TITLE}){{0,2}}(?:(?:[A-Z]\.? ){{0,2}}|(?:von|van|de|der|di|da) ){{0,2}}"
    r"[A-ZÀ-ÞŁŚŻ][\w'’-]{1,25}"
    rf"(?: [A-ZÀ-ÞŁŚŻ][\w'’-]{{1,25}}(?= {_OF_PERSONS}\b))?"
)


def mask_contacts(
    texts: pd.Series[str], customers: pd.Series[str] | None = None, level: str = "text"
) -> pd.Series[str]:
    """Mask phones, emails, postcodes, street addresses and titled names in free text.

    Parameters
    ----------
    texts
        Free text; missing stays missing. Fault codes, resistances, part numbers, dates and prices stay as they are.
    customers
        References as written, same rows: where a row's own reference stands in its text, it is masked too.
    level
        "text"; "code" for cells of numbers and names of parts, where digits alone are no phone, and cards and accounts
        are those written in groups; "staff" for codes that may be a person's own name, which stays.

    Returns
    -------
    Series of str
        Same rows and index, details replaced by [phone], [email], [postcode], [address], [name] or [customer].

    Notes
    -----
    A pattern finds what is written the usual way, not everything: names without a title and addresses told in other
    words stay. Patterns: common practice, no source.

    Examples
    --------
    >>> import pandas as pd
    >>> mask_contacts(pd.Series(["K07, pump 150 ohm, ring 07700 900123 first"]))[0]
    'K07, pump 150 ohm, ring [phone] first'
    """
    import pandas as pd
    import pyarrow as pa
    import pyarrow.compute as pc

    held = arrow_text(texts)
    masked: dict[int, str] = {}
    for first_look, mask in _BY_LEVEL[level]:
        suspect = pc.indices_nonzero(pc.fill_null(pc.match_substring_regex(held, first_look), False)).to_numpy()
        for row, text in zip(suspect.tolist(), held.take(pa.array(suspect)).to_pylist(), strict=True):
            masked[row] = mask(masked.get(row, text))
    if customers is not None:
        for row, reference in _rows_with_own_reference(held, arrow_text(customers)):
            text = masked.get(row) or held[row].as_py()
            masked[row] = re.sub(re.escape(reference), "[customer]", text, flags=re.IGNORECASE)
    result = pd.Series(held, index=texts.index, name=texts.name, dtype="str")
    if masked:
        result.iloc[list(masked)] = list(masked.values())
    return result


def _rows_with_own_reference(texts: pa.LargeStringArray, references: pa.LargeStringArray) -> list[tuple[int, str]]:
    """Rows whose text holds the row's own reference, of four characters or more, with the reference."""
    import pyarrow.compute as pc

    is_long = pc.fill_null(pc.greater_equal(pc.utf8_length(references), 4), False)
    rows = pc.indices_nonzero(pc.and_(is_long, texts.is_valid()))
    lowered = (pc.utf8_lower(column.take(rows)).to_pylist() for column in (texts, references))
    return [
        (row, plain(references[row].as_py()))
        for row, text, reference in zip(rows.to_pylist(), *lowered, strict=True)
        if reference in text and reference not in NO_CUSTOMER
    ]


def _phone(found: re.Match[str]) -> str:
    written = found[0]
    digits = "".join(letter for letter in written if letter.isdigit())
    before = found.string[max(found.start() - 40, 0) : found.start()]
    after = found.string[found.end() : found.end() + 10]
    if _NO_PHONE_BEFORE.search(before) or _DATE_OR_TIME.fullmatch(written) or _UNIT_AFTER.match(after):
        return written
    if _PHONE_WORD_BEFORE.search(before):
        return "[phone]"
    is_foreign = written.startswith(("+", "(+")) and 8 <= len(digits) <= 15
    is_foreign |= digits.startswith("00") and digits[2:3] not in ("", "0") and 11 <= len(digits) <= 16
    is_trunk = digits.startswith("0") and digits[1:2] != "0" and 9 <= len(digits) <= 12
    return "[phone]" if is_foreign or is_trunk or _GROUPED.fullmatch(written) else written


def _phone_not_bare(found: re.Match[str]) -> str:
    return found[0] if _BARE.fullmatch(found[0]) else _phone(found)


def _labelled(found: re.Match[str]) -> str:
    """Mask what stands behind a label such as "key safe code", if it is more than a fault code of two digits."""
    digits, letters = (sum(map(kind, found["value"])) for kind in (str.isdigit, str.isalpha))
    is_secret = (digits >= 3 or (digits >= 2 and letters >= 3)) and not _UNIT_AFTER.match(
        found.string[found.end() : found.end() + 10]
    )
    return f"{found['label']}[private]" if is_secret else found[0]


def _account_in_groups(found: re.Match[str]) -> str:
    """Mask an account among numbers of parts and appliances: of those in one piece, one in ten passes for a card."""
    return found[0] if found[0].isalnum() else _account(found)


def _account(found: re.Match[str]) -> str:
    """Mask a card number, an account number or an IBAN whose check digits are right."""
    written = re.sub(r"[^0-9A-Za-z]", "", found[0]).upper()
    if written.isdigit():
        is_card = 13 <= len(written) <= 19 and written[0] in "3456" and _luhn(written)
        return "[account]" if is_card else found[0]
    moved = written[4:] + written[:4]
    return "[account]" if int("".join(str(int(c, 36)) for c in moved)) % 97 == 1 else found[0]


def _luhn(digits: str) -> bool:
    doubled = [int(d) * (1 + place % 2) for place, d in enumerate(reversed(digits))]
    return sum(n - 9 * (n > 9) for n in doubled) % 10 == 0


def _postcode(found: re.Match[str]) -> str:
    if _NOT_INWARD.match(found["inward"]) or (not found["gap"] and not found[0].isupper()):
        return found[0]
    return "[postcode]"


# Each mask with a first look that finds every text it could change: RE2 syntax, one quick pass over a column.
_MASKS: tuple[tuple[str, Callable[[str], str]], ...] = (
    (
        r"(?i)[@＠]|[(\[{<] ?at ?[)\]}>]|\bat [\w-]+ (?:dot|punkt) | AT [\w-]+(?: DOT |\.)[A-Z]",
        lambda text: _EMAIL.sub("[email]", text),
    ),
    (r"[3-6][0-9]{3}[ -]?[0-9]{4,6}[ -]?[0-9]{4}", lambda text: _CARD.sub(_account, text)),
    (r"(?i)\b[A-Z]{2}[0-9]{2} ?[A-Z0-9]{4} ?[A-Z0-9]{4}", lambda text: _IBAN.sub(_account, text)),
    (
        r"(?i)sort code|s/c|acc|a/c|konto|cuenta|compte|conto|key ?safe|key ?box|lock ?box|code|schlüssel|alarm"
        r"|d\.?o\.?b|birth|born|\bgeb|nacido|nato il|\bnée? le|plate|\breg|kennzeichen",
        lambda text: _LABELLED.sub(_labelled, text),
    ),
    (r"[0-9](?:[ ()./-]{0,3}[0-9]){6}", lambda text: _NUMBER.sub(_phone, text)),
    (
        rf"(?i)[0-9][a-z]?,? [a-z].{{0,45}} (?:{_SURE_STREET}|{_LIKELY_STREET})\b"
        r"|(?:stra(?:ß|ss)e|str\.?|weg|platz|allee|gasse|ring|damm|ufer|straat"
        r"|laan|plein|gracht|kade|dijk|singel) ?[0-9]"
        r"|(?:A[mn]|Im|Zu[mr]|Beim|Auf|In|Unter|Hinter|Vor)\b.{3,35}[0-9a-z],? (?:[A-Z]{1,2}-)?[0-9]{4,5}\b"
        r"|\b(?:rue|avenue|boulevard|bd|allée|chemin|place|impasse|quai|calle|avenida|avda|plaza|paseo|via|viale|piazza"
        r"|corso|largo|vicolo|c/)",
        lambda text: _ADDRESS.sub("[address]", text),
    ),
    (r"(?i)\b[a-z]{1,2}[0-9][a-z0-9]? ?[0-9][a-z]{2}\b", lambda text: _UK_POSTCODE.sub(_postcode, text)),
    (
        r"\b[A-Z][0-9][A-Z] [0-9][A-Z][0-9]\b|\bD-[0-9]{5}\b|(?i)post ?code|zip|plz",
        lambda text: _OTHER_POSTCODE.sub(lambda found: f"{found['label'] or ''}[postcode]", text),
    ),
    (
        r"(?i)\b(?:mrs?|ms|miss|mx|dr|prof|rev|herrn?|frau|mme|mlle|monsieur|madame|señora?|sra?|signora?|sig|dhr|mevr"
        r"|mevrouw|meneer|pani?)\b",
        lambda text: _NAME.sub("[name]", text),
    ),
)

# In a column of codes nearly every cell is a number: only what is written in groups is looked at again.
_EMAILS, _CARDS = _MASKS[:2]
_STAFF = (
    _EMAILS,
    (_CARDS[0], lambda text: _CARD.sub(_account_in_groups, text)),
    (r"(?i)\b[A-Z]{2}[0-9]{2}(?:[A-Z0-9]{4})* [A-Z0-9]", lambda text: _IBAN.sub(_account_in_groups, text)),
    (
        r"[+(][0-9](?:[ ()./-]{0,3}[0-9]){6}|[0-9](?:[./-]{0,2}[ ()][ ()./-]{0,2}|[./-]{2,3})[0-9]",
        lambda text: _NUMBER.sub(_phone_not_bare, text),
    ),
)
_STREETS = (
    rf"(?i)[0-9][a-z]?,? [a-z].{{0,45}} (?:{_SURE_STREET})\b|(?:stra(?:ß|ss)e|allee|gasse) ?[0-9]",
    lambda text: _SURE_ADDRESS.sub("[address]", text),
)
_BY_LEVEL = {"text": _MASKS, "code": (*_STAFF, _STREETS, _MASKS[-1]), "staff": _STAFF}

# Any text that a mask of the level could change, in one look: RE2 syntax.
FIRST_LOOK = {level: "|".join(f"(?:{look})" for look, _ in masks) for level, masks in _BY_LEVEL.items()}
