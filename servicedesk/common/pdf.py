"""PDFs by WeasyPrint: PDF/UA-1, our own fonts, nothing fetched from outside."""

from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.template.loader import render_to_string

STATIC = Path(settings.BASE_DIR) / "static"


class ForbiddenUrl(ValueError):
    """A document asked for something that is neither our static file nor a stored one."""


def local_path(url: str) -> Path:
    """The file behind ``static:…`` or ``file:///…`` inside static or media; ForbiddenUrl for anything else."""
    parts = urlsplit(url)
    if parts.scheme == "static":
        path = (STATIC / unquote(parts.path).lstrip("/")).resolve()
    elif parts.scheme == "file" and not parts.netloc:
        path = Path(unquote(parts.path)).resolve()
    else:
        raise ForbiddenUrl(f"A document may not fetch {url}.")
    if not any(path.is_relative_to(root.resolve()) for root in (STATIC, Path(settings.MEDIA_ROOT))):
        raise ForbiddenUrl(f"A document may not read {path}.")
    return path


def render_pdf(template: str, context: dict[str, Any], *, paper: str) -> bytes:
    """Render a template to a tagged, accessible PDF on ``paper`` ("Letter" or "A4")."""
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

    class OwnFiles(URLFetcher):  # type: ignore[misc]
        """Fetches only what ``local_path`` allows."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            return super().fetch(local_path(url).as_uri(), headers)

    if paper not in {"Letter", "A4"}:
        raise ValueError(f"Unknown paper {paper!r}.")
    fonts, fetcher = FontConfiguration(), OwnFiles(allowed_protocols=["file"])
    html = render_to_string(template, {**context, "paper": paper})
    sheet = CSS(filename=STATIC / "css" / "pdf.css", font_config=fonts, url_fetcher=fetcher)
    size = CSS(string=f"@page {{ size: {paper} }}", font_config=fonts)
    document = HTML(string=html, base_url=STATIC.as_uri() + "/", url_fetcher=fetcher)
    pdf: bytes = document.write_pdf(stylesheets=[sheet, size], font_config=fonts, pdf_variant="pdf/ua-1")
    return pdf
