"""Sphinx makes the API reference from the docstrings; DEVELOPERS.md says how."""

from __future__ import annotations

import re
from typing import Any

from sphinx.application import Sphinx

import gripmargin

ALIASES = ("FloatArray", "ArrayLike")  # numpy's names for arrays; spelled out they take a line each
CHOICES = (
    "Axes",
    "Interpolation",
    "MoveKind",
    "Shape",
    "Sign",
    "Stamps",
    "TimeLawName",
)  # names of a few words to choose from, which the text gives
WITHIN = (
    r"gripmargin\.(results.scene|files)\..*",
    "Plots",
    r"(gripmargin\.motion\.trajectory\.)?(Filling|Timing)",
    r"(gripmargin\.motion\.chain\.)?Follower",
    "Trajectory",
    "Figure",
    "Path",
    r"(concurrent|matplotlib|pd)\..*",
)  # of others, or not for users

project = "gripmargin"
version = release = gripmargin.__version__
extensions = ["sphinx.ext.autodoc", "sphinx.ext.napoleon"]
html_theme = "alabaster"
html_show_copyright = False
html_copy_source = False

default_role = "literal"  # a name between single backquotes is code
nitpicky = True
# Without a network there are no inventories of other libraries to look into.
nitpick_ignore_regex = [("py:.*", r"(numpy|np|pathlib|collections|enum)\..*|" + "|".join(ALIASES + CHOICES + WITHIN))]

autodoc_member_order = "bysource"
autodoc_typehints_format = "short"
autodoc_preserve_defaults = True
autodoc_type_aliases = {name: name for name in ALIASES}
napoleon_google_docstring = True
napoleon_numpy_docstring = False
napoleon_use_ivar = True
napoleon_use_rtype = False


def readable(
    app: Sphinx, what: str, name: str, thing: object, options: object, signature: str | None, returned: str | None
) -> tuple[str | None, str | None]:
    """Spell a signature so that Python can read it: aliases by their names, defaults made anew as dots."""

    def spelled(text: str | None) -> str | None:
        return text and re.sub(r"TypeAliasForwardRef\('(\w+)'\)", r"\1", text).replace("<factory>", "...")

    return spelled(signature), spelled(returned)


def setup(app: Sphinx) -> dict[str, Any]:
    """Connect what this reference adds to Sphinx."""
    app.connect("autodoc-process-signature", readable)
    return {"parallel_read_safe": True}
