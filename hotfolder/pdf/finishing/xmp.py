"""Writes who made the file, when, and as which kind of PDF, in the two places readers look: Info and XMP.

Both are written from one set of facts, so they agree (ISO 32000-1 14.3.2 and 14.3.3; the XMP schemas of ISO 16684-1).
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from xml.sax.saxutils import escape

from pikepdf import Dictionary, Name, String
from pikepdf.models.metadata import encode_pdf_date

VERSION_KEY = "PDF/X-4"
MOST_CHARACTERS = 500  # of a title or a name; longer ones are damage or malice
_OURS = uuid.UUID("6f5d2b70-6f1b-4f5e-9a54-8f3f2c0d7b11")  # the name space of our document numbers

_PACKET = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about=""
    xmlns:dc="http://purl.org/dc/elements/1.1/"
    xmlns:xmp="http://ns.adobe.com/xap/1.0/"
    xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/"
    xmlns:pdf="http://ns.adobe.com/pdf/1.3/"
    xmlns:pdfxid="http://www.npes.org/pdfx/ns/id/">
   <dc:format>application/pdf</dc:format>
   <dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
{author}   <xmp:CreateDate>{created}</xmp:CreateDate>
   <xmp:ModifyDate>{modified}</xmp:ModifyDate>
   <xmp:MetadataDate>{modified}</xmp:MetadataDate>
{creator}   <xmpMM:DocumentID>uuid:{document}</xmpMM:DocumentID>
   <xmpMM:InstanceID>uuid:{instance}</xmpMM:InstanceID>
   <xmpMM:VersionID>1</xmpMM:VersionID>
   <xmpMM:RenditionClass>default</xmpMM:RenditionClass>
   <pdf:Producer>{producer}</pdf:Producer>
   <pdf:Trapped>{trapped}</pdf:Trapped>
   <pdfxid:GTS_PDFXVersion>{version}</pdfxid:GTS_PDFXVersion>
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>"""


@dataclass(frozen=True)
class About:
    """The facts about a finished file. Times must know their zone. `identity` tells it from every other file."""

    title: str
    created: dt.datetime
    modified: dt.datetime
    identity: str
    producer: str
    author: str = ""
    creator: str = ""  # the program the artwork was drawn with
    trapped: bool = False


def clean(text: str) -> str:
    """Text that both PDF and XML can hold: one line, no control characters, no lone surrogates, not endless."""
    text = text[: 2 * MOST_CHARACTERS].encode("utf-8", "replace").decode("utf-8")
    kept = "".join(char if char.isprintable() else " " for char in text)
    return " ".join(kept.split())[:MOST_CHARACTERS].rstrip()


def xmp_packet(about: About) -> bytes:
    """The XMP packet, UTF-8."""
    author = f"   <dc:creator><rdf:Seq><rdf:li>{_safe(about.author)}</rdf:li></rdf:Seq></dc:creator>\n"
    creator = f"   <xmp:CreatorTool>{_safe(about.creator)}</xmp:CreatorTool>\n"
    return _PACKET.format(
        title=_safe(about.title),
        author=author if about.author else "",
        creator=creator if about.creator else "",
        created=about.created.isoformat(timespec="seconds"),
        modified=about.modified.isoformat(timespec="seconds"),
        document=uuid.uuid5(_OURS, about.identity),
        instance=uuid.uuid5(_OURS, f"{about.identity} {about.modified.isoformat()}"),
        producer=_safe(about.producer),
        trapped=about.trapped,
        version=VERSION_KEY,
    ).encode("utf-8")


def info_dictionary(about: About) -> Dictionary:
    """The document information dictionary that says the same (ISO 32000-1 table 317)."""
    info = Dictionary(
        Title=String(clean(about.title)),
        Producer=String(clean(about.producer)),
        CreationDate=String(encode_pdf_date(about.created)),
        ModDate=String(encode_pdf_date(about.modified)),
        Trapped=Name("/True" if about.trapped else "/False"),
        GTS_PDFXVersion=String(VERSION_KEY),
    )
    if about.author:
        info.Author = String(clean(about.author))
    if about.creator:
        info.Creator = String(clean(about.creator))
    return info


def _safe(text: str) -> str:
    return escape(clean(text))
