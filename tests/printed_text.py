"""The text of what was printed, as PDFium finds it: pypdf's own reading takes as long as the printing."""

from pypdf import PageObject, PdfReader
from pypdfium2 import PdfDocument


def words_of(reader: PdfReader) -> str:
    """The text of all pages with single spaces, so that line ends do not matter."""
    return " ".join(map(words_on, reader.pages))


def words_on(page: PageObject) -> str:
    return " ".join(text_on(page).split())


def text_on(page: PageObject) -> str:
    """Line by line as they were drawn."""
    with PdfDocument(page.pdf.stream.getvalue()) as printed:
        return printed[page.page_number].get_textpage().get_text_range().replace("\r\n", "\n")
