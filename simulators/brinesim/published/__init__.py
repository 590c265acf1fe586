"""Published values of sodium chloride brine that the simulator computes from, as small tables.

Sources, as named in the files: CSS25 Chambers, Stokes & Stokes, J. Phys. Chem. 60 (1956) 985;
CRC20 and CRC, CRC Handbook of Chemistry and Physics; KOHL18 Kohlrausch & Holborn (from memory);
SATNACL conductivity of saturated brine as reprinted in laboratory meter manuals; MCCL12 McCleskey
et al. 2011, 2012; PERRY Perry's Handbook (from memory); PORADNIK Poradnik fizykochemiczny 1974;
LANGE Lange's Handbook 15th ed.; SALTINST Salt Institute; PABALAN_PITZER87.
"""

import csv
from functools import cache
from importlib.resources import files


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """The rows of one table (`density`, `conductivity`, ...) as its file holds them."""
    text = (files("brinesim.published") / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
