"""Lists the published sources and independent libraries that the checks of the science rest on."""

from collections import Counter
from typing import Any

import pytest
from hypothesis import settings

# Heavy libraries load in the first example; the same examples each time, so that a landing never depends on luck.
settings.register_profile("science", deadline=None, derandomize=True)
settings.load_profile("science")
PROPERTY = "checked against"


def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker in item.iter_markers("source"):
        for source in marker.args:
            item.user_properties.append((PROPERTY, source))


@pytest.hookimpl(trylast=True)
def pytest_terminal_summary(terminalreporter: Any) -> None:
    passed: Counter[str] = Counter(
        text
        for report in terminalreporter.stats.get("passed", ())
        for name, text in report.user_properties
        if name == PROPERTY
    )
    if passed:
        terminalreporter.section("sources of the checks of the science")
        for source in sorted(passed):
            terminalreporter.write_line(f"{passed[source]:4}  {source}")
