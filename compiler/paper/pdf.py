"""A page of HTML as a PDF, for those who would rather not print from a browser.

The library that lays out the pages, weasyprint, is optional: the extra `paper`. It is
given no way to fetch anything: a page that needs more than itself is refused.
"""

from __future__ import annotations

import logging
from typing import Any


class PdfError(Exception):
    """That no PDF can be made, as a sentence."""


def pdf_from(page: bytes, name: str) -> bytes:
    """The PDF of a page of HTML; the same page gives the same bytes.

    name: what the page is called, for a message.
    Raises PdfError if the library or what it needs of the system is not there, or if the
    page asks for something outside itself.
    """
    try:
        import weasyprint
        from weasyprint.urls import URLFetcher
    except ImportError:
        raise PdfError(
            "a PDF needs the library weasyprint: `pip install 'bellcrank[paper]'`; "
            "or open the HTML in a browser and print it"
        ) from None
    except OSError as error:
        raise PdfError(
            "a PDF needs Pango, which weasyprint draws letters with and which is not on this "
            f"system: {' '.join(str(error).split())[:160]}; or print the HTML from a browser"
        ) from None

    asked: list[str] = []

    class Nothing(URLFetcher):  # type: ignore[misc]
        """Fetches what stands in the page itself and nothing else."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            if url.lower().startswith("data:"):
                return super().fetch(url, headers)
            asked.append(url)
            raise ValueError("nothing is fetched")

    log = logging.getLogger("weasyprint")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        text = page.decode("utf-8")
        html = weasyprint.HTML(string=text, base_url="file:///", url_fetcher=Nothing())
        made: bytes | None = html.write_pdf()
    except RecursionError:
        raise PdfError(f"{name} could not be made into a PDF: it is nested too deeply") from None
    except MemoryError:
        raise
    except Exception as error:
        # A page of a user's own may be anything, and the library raises whatever Python does.
        said = " ".join(str(error).split())[:160] or type(error).__name__
        raise PdfError(f"{name} could not be made into a PDF: {said}") from None
    finally:
        log.setLevel(before)
    if asked:
        raise PdfError(f"{name} asks for something outside itself: {asked[0][:80]}")
    if made is None:
        raise PdfError(f"{name} could not be made into a PDF")
    return made
