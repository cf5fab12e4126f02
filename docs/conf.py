"""Settings of the guide (sphinx + myst + furo); built by `make docs`, asks no outside host."""

project = "coilwright"
author = "the coilwright authors"
copyright = "2026, the coilwright authors"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]
html_theme = "furo"
html_title = "coilwright"
myst_enable_extensions = ["dollarmath", "colon_fence"]
myst_heading_anchors = 3
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": "#b8430f",
        "color-brand-content": "#1d5c78",
        "color-background-primary": "#fbf8f1",
    },
    "dark_css_variables": {"color-brand-primary": "#e2824f", "color-brand-content": "#7fb6cf"},
}
