"""The sources of the loss laws, by key. `kind` says how far the text itself was read.

"published": equation or points taken from the publication or a readable transcription of it;
"from memory": the constants were not re-read; "own estimate": no source gives this form.
"""

from __future__ import annotations

from typing import Literal

from distrib.results import Source

Kind = Literal["published", "computed", "common practice", "from memory", "own estimate"]

_TEXTS: dict[str, tuple[str, Kind]] = {
    "hagen-poiseuille": ("Hagen-Poiseuille flow, closed form", "computed"),
    "haaland-1983": ("Haaland, J. Fluids Eng. 105 (1983) 89", "published"),
    "colebrook-1939": ("Colebrook, J. Inst. Civil Eng. 11 (1939) 133", "published"),
    "churchill-1977": ("Churchill, Chem. Eng. 84 no. 24 (1977) 91", "published"),
    "swamee-jain-1976": ("Swamee and Jain, J. Hydraul. Div. ASCE 102 (1976) 657", "published"),
    "shah-london-1978": ("Shah and London, Laminar Flow Forced Convection in Ducts (1978); "
                         "polynomial from memory, cross-checked at aspect 1 and 1/2", "published"),
    "idelchik": ("Idelchik, Handbook of Hydraulic Resistance; fits as commonly quoted",
                 "published"),
    "idelchik-fit": ("Idelchik, diagram 3-4, closed fit from memory, checked against the table as "
                     "fluids holds it", "from memory"),
    "idelchik-memory": ("Idelchik, Handbook of Hydraulic Resistance, table values from memory",
                        "from memory"),
    "rennels-hudson-2012": ("Rennels and Hudson, Pipe Flow: A Practical and Comprehensive Guide "
                            "(2012)", "published"),
    "swamee-sharma-2008": ("Swamee and Sharma, Design of Water Supply Pipe Networks (2008)",
                           "published"),
    "crane-tp410": ("Crane TP-410, Flow of Fluids (2009)", "published"),
    "ito-1960": ("Ito, J. Basic Eng. 82 (1960) 131", "published"),
    "bassett-2001": ("Bassett, Winterbone and Pearson, Proc. IMechE C 215 (2001) 861",
                     "published"),
    "mcgreehan-schotsch-1988": ("McGreehan and Schotsch, J. Turbomachinery 110 (1988) 213",
                                "published"),
    "weisbach": ("Weisbach's butterfly losses as tabulated in hydraulics texts, with own fit",
                 "published"),
    "geometry": ("closed form of the geometry, checked by numerical integration", "computed"),
    "borda-carnot": ("Borda-Carnot, momentum balance over a sudden expansion", "computed"),
    "stall-map": ("Sovran and Klomp (1967), one point of the chart as read in a textbook example; "
                  "slope from memory", "from memory"),
    "own": ("own estimate of this project, see the notes of the law", "own estimate"),
    "own-composite": ("own combination: branch term of Rennels and Hudson (2012), angle term of "
                      "Bassett et al. (2001), cross term fitted to one series of the latter",
                      "own estimate"),
    "own-takeoff": ("own two-constant correction of McGreehan and Schotsch (1988), fitted to "
                    "Rohde, Richards and Metger, NASA TN D-5467 (1969)", "own estimate"),
    "abdel-rahman-1996": ("Abdel-Rahman et al. (1996), decay of a round air jet, Re 19400; width "
                          "from conservation of momentum", "published"),
    "taylor-batchelor-1949": ("Taylor and Batchelor, Q. J. Mech. Appl. Math. 2 (1949) 1, from "
                              "memory", "from memory"),
}


def source(key: str) -> Source:
    """The source record of a key; KeyError for a key that is not listed."""
    text, kind = _TEXTS[key]
    return Source(key=key, text=text, kind=kind)


def all_sources() -> tuple[Source, ...]:
    """Every source record, in the order of the list."""
    return tuple(source(key) for key in _TEXTS)
