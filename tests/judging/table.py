"""All pairs, topic by topic. `python tests/judging/show.py` prints them."""

from table_codes import CODES
from table_edges import EDGES, MARGIN
from table_extras import EXTRAS
from table_ink import INKS, OVERPRINT
from table_pictures import ARRIVING, PICTURES
from table_size import MARKS, SIZE
from table_type import LINES, TYPE

TOPICS = {
    "Bleed, frames and the cut": EDGES,
    "Safe margin": MARGIN,
    "Size, pages and how they lie": SIZE,
    "Marks of its own": MARKS,
    "Lines": LINES,
    "Type": TYPE,
    "Pictures": PICTURES,
    "Pictures as artwork": ARRIVING,
    "Overprinting": OVERPRINT,
    "Inks and colours": INKS,
    "Codes": CODES,
    "What lies beside the art": EXTRAS,
}
PAIRS = tuple(pair for pairs in TOPICS.values() for pair in pairs)
