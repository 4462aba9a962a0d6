"""A PDF that goes to its file object by object: what is finished takes no memory from then on but its place in the file."""

import zlib
from collections.abc import Iterable
from typing import BinaryIO

from reportlab.pdfbase.pdfdoc import (
    PDFCrossReferenceTable,
    PDFDictionary,
    PDFIndirectObject,
    PDFObject,
    PDFObjectReference,
    PDFStream,
    PDFTrailer,
)
from reportlab.pdfgen.canvas import Canvas

# ISO 32000-1, 7.5.2: the version, and a comment of four bytes above 127 that says that the file is not text.
HEADER = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"


class StreamedFile:
    """The objects of the document of a canvas, each written once; the rest of them by `close`."""

    def __init__(self, out: BinaryIO, canvas: Canvas) -> None:
        self._out, self._canvas, self._document, self._at = out, canvas, canvas._doc, 0
        self._put(HEADER)

    def write(self, thing: PDFObject) -> PDFObjectReference:
        """Write an object that will not change any more, and forget it."""
        reference = self._document.Reference(thing)
        self._write(reference.name)
        self._document.idToObject[reference.name] = None
        return reference

    def write_packed(self, about: PDFDictionary, pieces: Iterable[bytes]) -> PDFObjectReference:
        """Write a stream of any length, compressed as it comes; how long it is stands in an object behind it."""
        document, packed = self._document, zlib.compressobj()
        reference = document.Reference(PDFStream())
        length = document.Reference(0, f"{reference.name}Length")
        about.dict["Length"] = length
        document.idToOffset[reference.name] = self._at
        number, _ = document.idToObjectNumberAndVersion[reference.name]
        self._put(b"%d 0 obj\n%b\nstream\r\n" % (number, about.format(document)))
        begun = self._at
        for piece in pieces:
            self._put(packed.compress(piece))
        self._put(packed.flush())
        document.idToObject[length.name] = self._at - begun
        self._put(b"\nendstream\nendobj\n")
        document.idToObject[reference.name] = None
        return reference

    def close(self) -> None:
        """Write what is left, and where each object stands."""
        document = self._document
        for font in document.delayedFonts:
            font.addObjects(document)
        document.info.invariant = document.invariant
        document.info.digest(document.signature)
        catalog, info = document.Reference(document.Catalog), document.Reference(document.info)
        document.Outlines.prepare(document, self._canvas)
        number = 0
        while (number := number + 1) in document.numberToId:  # what is written may name further objects
            if document.numberToId[number] not in document.idToOffset:
                self._write(document.numberToId[number])
        table, at = PDFCrossReferenceTable(), self._at
        table.addsection(0, [document.numberToId[each] for each in range(1, number)])
        self._put(table.format(document))
        trailer = PDFTrailer(startxref=at, Size=number, Root=catalog, Info=info, ID=document.ID())
        self._put(trailer.format(document))

    def _write(self, name: str) -> None:
        document = self._document
        document.idToOffset[name] = self._at
        self._put(PDFIndirectObject(name, document.idToObject[name]).format(document))

    def _put(self, piece: bytes) -> None:
        self._out.write(piece)
        self._document.signature.update(piece)
        self._at += len(piece)
