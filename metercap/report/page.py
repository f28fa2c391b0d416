"""A report as one HTML file that needs nothing else: no script, no font, no picture from elsewhere.

The page's template is `page.html`, filled by jinja2. Everything that goes into it passes one gate,
`shown`: unprintable characters (control, bidi override, zero width) become escapes; then jinja2's own autoescape makes
markup harmless. Nothing is ever marked as safe, and the page forbids scripts and everything from elsewhere as well.
"""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Any

from metercap.plain.style import safe
from metercap.report.document import Document

if TYPE_CHECKING:
    from jinja2 import Environment


def shown(value: Any) -> Any:
    """Return a value as the page shows it: text with its unprintable characters escaped, floats to a tenth."""
    if isinstance(value, str):
        return safe(value)
    return f"{value:.1f}" if isinstance(value, float) else value


def environment() -> Environment:
    """Return what fills the page's template."""
    from jinja2 import DictLoader, Environment, StrictUndefined

    folder = files(__package__)
    texts = {name: folder.joinpath(name).read_text("utf-8") for name in ("page.html", "picture.html", "page.css")}
    return Environment(
        loader=DictLoader(texts),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(document: Document) -> str:
    """Return the HTML of a report."""
    return environment().get_template("page.html").render(document=document, kind=kind_of)


def kind_of(part: Any) -> str:
    """Return the tag of a block or a shape."""
    return str(part.__struct_config__.tag)
