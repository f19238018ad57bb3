"""Does a column's header announce personal data? Headers as offices write them, in six languages."""

from __future__ import annotations

import re
import unicodedata


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# What always announces a person, whatever stands beside it; as whole words, accents and digits taken off.
_ALWAYS = _words("""
    surname forename firstname lastname fullname fname lname initials address addr addrs street town county
    postcode postal zip zipcode phone telephone tel telno telnum ph mob mobile mobileno cell cellphone landline fax
    email mail whatsapp dob birthday birthdate birth passport nino ssn iban keysafe householder
    vorname nachname familienname zuname hausnr hausnummer plz ort wohnort anschrift adresse strasse stadt telefon
    telefonnr handy handynr mobil mobilnr festnetz rufnummer rufnr geburtsdatum geburtstag geb anrede kontonummer
    bankverbindung
    prenom nom rue ville courriel mel portable naissance locataire
    nombre nombres apellido apellidos direccion calle ciudad poblacion provincia telefono telf tlf tfno tlfno movil
    correo dni nif nie domicilio nacimiento
    nome cognome indirizzo citta cellulare nascita codicefiscale
    naam voornaam achternaam straat huisnummer woonplaats plaats telefoon telefoonnr mobiel gsm geboortedatum
""")
# What announces a person unless the column is about something else: "part name", "file owner".
_MOSTLY = _words("""
    name contact owner tenant landlord landlady customer customers client clients cust cstmr caller occupant occupier
    resident payer buyer purchaser payee account city
    kunde kundin kunden kundenname ansprechpartner mieter mieterin eigentumer besitzer auftraggeber
    cliente clientes proprietaire acheteur inquilino inquilina propietario titular proprietario intestatario acquirente
    klant klantnaam huurder eigenaar contactpersoon
""")
_ALONE = frozenset(("cp", "cap", "via", "str", "reg", "m", "t"))  # says so only when it is the whole header
_STEMS = re.compile(
    "telef|phone|handy|email|adress|anschrift|strasse|vorname|nachname|postcode|geburt|kundenname|kundentel|customername"
    "|clientname|keysafe|geboorte|telno|telnr|mobilnr|mobilenr"
)
_BEFORE = re.compile(
    "^(?:customers?|cust|cstmr|clients?|cli|kunden?|kd|klant|owners?|tenants?|contact|home|work|day|eve|alt|billing|bill"
    "|site|delivery|invoice|main|sec)(?=(?:name|tel|mob|addr|mail|ph|no?m|naam|nr)s?$)"
)
_SOMETHING_ELSE = _words("""
    part parts product model make file kind job engineer technician tech brand item user type sheet table fault error
    appliance machine device program programme supplier maker status group column teil gerat marke hersteller
""")


def is_personal(header: str) -> bool:
    """Say whether a column's header announces personal data, so that a column no layout names is not kept readable.

    Examples
    --------
    >>> is_personal("Customer phone"), is_personal("part_name"), is_personal("Tel1")
    (True, False, True)
    """
    apart = re.sub(r"(?<=[^\W\d_])(?=\d)|(?<=\d)(?=[^\W\d_])|(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", " ", header[:200])
    words = [_plain(word) for word in re.split(r"[\W\d_]+", apart) if word and not word.isdigit()]
    joined = "".join(words)
    if joined in _ALONE or joined in _ALWAYS or _STEMS.search(joined) is not None:
        return True
    words = [part for word in words for part in (word, _BEFORE.sub("", word))]
    if _ALWAYS.intersection(words) or ("post" in words and "code" in words):
        return True
    is_mostly = bool(_MOSTLY.intersection(words)) or any(_BEFORE.search(word) for word in words) or joined in _MOSTLY
    return is_mostly and not _SOMETHING_ELSE.intersection(words)


def _plain(word: str) -> str:
    apart = unicodedata.normalize("NFKD", word.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))
