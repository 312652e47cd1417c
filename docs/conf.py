"""Sphinx settings. The build needs no network; warnings are errors (`make docs`)."""

from __future__ import annotations

import sys
from importlib.metadata import version as version_of
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

project = "fieldfare"
author = "the fieldfare contributors"
release = version = version_of("fieldfare")
extensions = ["myst_parser", "sphinx.ext.autodoc", "docstrings", "handbook"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]
html_theme = "furo"
html_title = f"fieldfare {release}"
html_copy_source = False
html_show_sphinx = False
default_role = "code"
nitpicky = False
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 3
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
autodoc_class_signature = "mixed"
suppress_warnings = ["myst.header"]
