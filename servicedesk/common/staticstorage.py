"""Hashed static files whose ES module imports are rewritten too, so that scripts need no bundler."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class ModuleManifestStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    support_js_module_import_aggregation = True
