"""Pages whose text a reading program follows in order: every block is marked with its role, drawings with words that stand for them.

PDF 1.7 (ISO 32000-1), 14.7 and 14.8: marked content, a structure tree over it, and a table from page to its elements.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFString
from reportlab.pdfgen.canvas import Canvas

from treescan.outputs.print_fonts import REGULAR


class Marked(NamedTuple):
    """One marked block: page from 0, its number on that page, its role and the words that stand for it ("" = its own text)."""

    page: int
    number: int
    role: str
    alt: str


class TaggedCanvas(Canvas):
    """A canvas that keeps what was marked and writes the structure tree when it is saved."""

    def __init__(self, *args: Any, **more: Any) -> None:
        more["initialFontName"] = REGULAR  # every font of the file is in the file
        super().__init__(*args, **more)
        self._marked: list[Marked] = []
        self._page_index = 0

    @contextmanager
    def marked(self, role: str, alt: str = "") -> Iterator[None]:
        """Everything drawn inside is one block of this role ("P", "H1", "Figure" ...)."""
        number = sum(m.page == self._page_index for m in self._marked)
        self._marked.append(Marked(self._page_index, number, role, alt))
        self._code.append(f"/{role} <</MCID {number}>> BDC")
        yield
        self._code.append("EMC")

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """Everything drawn inside is decoration that is not read out."""
        self._code.append("/Artifact BMC")
        yield
        self._code.append("EMC")

    def showPage(self) -> None:
        """Close the page and number it for the table of elements."""
        super().showPage()
        page = self._doc.Pages.pages[-1]
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents, page.Tabs = self._page_index, PDFName("S")
        self._page_index += 1

    def save(self) -> None:
        """Write the file with its structure tree."""
        if len(self._code):
            self.showPage()
        self._write_structure()
        super().save()

    def _write_structure(self) -> None:
        doc = self._doc
        root, whole = PDFDictionary({}), PDFDictionary({})
        root_at, whole_at = doc.Reference(root), doc.Reference(whole)
        pages: list[list[Any]] = [[] for _ in range(self._page_index)]
        for m in self._marked:
            element = {
                "Type": PDFName("StructElem"),
                "S": PDFName(m.role),
                "P": whole_at,
                "Pg": doc.Reference(doc.Pages.pages[m.page]),
                "K": m.number,
            }
            if m.alt:
                element["Alt"] = PDFString(m.alt)
            pages[m.page].append(doc.Reference(PDFDictionary(element)))
        whole.dict.update(
            {
                "Type": PDFName("StructElem"),
                "S": PDFName("Document"),
                "P": root_at,
                "K": PDFArray([at for page in pages for at in page]),
            }
        )
        table = [entry for i, page in enumerate(pages) for entry in (i, doc.Reference(PDFArray(page)))]
        root.dict.update(
            {
                "Type": PDFName("StructTreeRoot"),
                "K": PDFArray([whole_at]),
                "ParentTree": PDFDictionary({"Nums": PDFArray(table)}),
                "ParentTreeNextKey": len(pages),
            }
        )
        doc.Catalog.StructTreeRoot = root_at
        doc.Catalog.MarkInfo = PDFDictionary({"Marked": "true"})
        doc.Catalog.ViewerPreferences = PDFDictionary({"DisplayDocTitle": "true"})
