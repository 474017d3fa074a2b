"""What foreign headers usually mean: the words of ten plants for our columns."""

from __future__ import annotations

import re
from difflib import get_close_matches
from typing import Final

from forecast.intake.kinds import COLUMN_NAMES, KINDS, LogKind

WORDS: Final[dict[str, tuple[str, ...]]] = {
    "machine": ("maschine", "machine no", "asset", "equipment", "unit no", "anlage", "maquina"),
    "at": ("date", "datum", "am", "gemessen am", "measured", "timestamp", "time", "fecha", "day"),
    "value": ("mass", "wert", "reading", "measured value", "wear", "mm", "messwert", "mesure"),
    "position": ("pos", "nr", "stelle", "position no", "slot", "rolle", "poste"),
    "part_type": ("part", "part no", "typ", "type", "artikel", "teil", "item", "pieza"),
    "place": ("ort", "location", "where", "baugruppe", "assembly"),
    "unit": ("einheit", "units", "uom"),
    "result": ("ergebnis", "verdict", "ok", "status"),
    "found_left": ("zustand", "condition found", "found", "vor/nach"),
    "reading_kind": ("messart", "kind of reading", "what measured"),
    "inspector": ("prufer", "prüfer", "measured by", "name", "operator"),
    "gauge": ("messmittel", "instrument", "tool"),
    "note": ("bemerkung", "remark", "remarks", "comment", "comments", "notes", "nota"),
    "plant": ("werk", "site", "factory", "planta"),
    "action": ("massnahme", "maßnahme", "work done", "job", "tätigkeit"),
    "reason": ("grund", "cause", "why", "ursache"),
    "quantity": ("menge", "qty", "anzahl", "stück", "count", "pcs"),
    "shows": ("stand", "zählerstand", "meter reading", "hours", "betriebsstunden", "hour meter"),
    "meter": ("zähler", "counter"),
    "running_hours": ("laufzeit", "stunden", "hours run", "run hours"),
    "state": ("bestandsart", "stock state"),
    "wear_limit_mm": ("limit", "grenze", "verschleissgrenze", "wear limit", "limit mm"),
    "positions": ("positionen", "anzahl positionen", "number of positions"),
    "line": ("linie", "production line"),
    "part_temperature_c": ("temperatur", "part temperature", "temp"),
    "unit_cost": ("preis", "price", "cost"),
    "order_no": ("bestellnummer", "order", "po"),
}
"""What others call our columns, in lower case."""

TOTALS: Final = ("total", "subtotal", "sum", "summe", "gesamt", "somme", "suma", "totaal")
"""How lines begin that add others up."""


def guess(header: str) -> list[str]:
    """Return what a header may mean, in our words, likeliest first; empty where nothing fits."""
    plain = re.sub(r"[\s_.:\-]+", " ", re.sub(r"[\[(].*?[\])]", "", header)).strip().lower()
    own = plain.replace(" ", "_")
    found = [own] if own in COLUMN_NAMES else []
    found += [name for name, words in WORDS.items() if plain in words]
    if found:
        return found
    every = {word: name for name, words in WORDS.items() for word in words}
    every |= {name.replace("_", " "): name for name in COLUMN_NAMES}
    near = get_close_matches(plain, list(every), n=3, cutoff=0.8) if len(plain) > 3 else []
    return list(dict.fromkeys(every[word] for word in near))


def guess_unit(header: str) -> str:
    """Return the unit that a header names: ``Mass [mm]`` is in mm."""
    named = re.search(r"[\[(\s](mm|cm|m|um|µm|in|inch|mil)[\])]?\s*$", header.strip().lower())
    return {"µm": "um", "inch": "in"}.get(named[1], named[1]) if named else ""


def likeliest_kind(ours: list[list[str]]) -> LogKind:
    """Return the kind that takes most of what the headers may mean, its required ones first."""

    def fit(kind: LogKind) -> tuple[int, int]:
        there = {name for names in ours for name in names if kind.column(name)}
        return len(there) - 2 * len(kind.lacks(there)), len(there)

    return max(KINDS.values(), key=fit)
