"""Hashed static files whose ES module imports are rewritten too, so that scripts need no bundler."""

from collections.abc import Iterator
from typing import Any

from whitenoise.storage import CompressedManifestStaticFilesStorage

UNUSED = "django_htmx/ext/"


class ModuleManifestStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    support_js_module_import_aggregation = True

    def post_process(self, paths: dict[str, Any], *args: Any, **options: Any) -> Iterator[Any]:
        """Leave alone the extensions of htmx that no page loads: they import files that are not shipped."""
        used = {name: item for name, item in paths.items() if not name.startswith(UNUSED)}
        yield from super().post_process(used, *args, **options)
