"""The pages under automated accessibility rules (axe-core, WCAG 2.2 A and AA), by day and by night, wide and narrow.

It needs a browser (see builders.lab) and axe-core: `npm install axe-core`, and AXE_CORE set to its axe.min.js.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from builders import lab
from necrostats import bundled, write_report

AXE = os.environ.get("AXE_CORE", "")
REASON = lab.missing() or ("" if AXE and Path(AXE).is_file() else "AXE_CORE does not name axe.min.js of axe-core")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

pytestmark = pytest.mark.skipif(bool(REASON), reason=f"accessibility is not tried: {REASON}")


@pytest.fixture(scope="module", params=["quarterly_review", "committee_review", "case_list", "registry_check"])
def page(request, tmp_path_factory):
    return write_report(request.param, bundled.synthetic_registry() / "tidy", folder=tmp_path_factory.mktemp("page"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 400])
def test_a_page_breaks_no_rule(page, scheme, width):
    with lab.browser(color_scheme=scheme, bypass_csp=True, viewport={"width": width, "height": 900}) as window:
        window.goto(page.as_uri())
        window.add_script_tag(path=AXE)
        found = window.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
    assert [(each["id"], [node["html"][:120] for node in each["nodes"]]) for each in found["violations"]] == []
