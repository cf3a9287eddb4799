"""Stands where the kernel looks for what installs packages: in this page is nothing to install."""

_PIPLITE_DISABLE_PYPI = True
_PIPLITE_URLS: list[str] = []

SAID = (
    "nothing can be installed in this page, since it asks no other computer; "
    "all that the workbooks need is here already, so go on with the import"
)


async def install(*what: object, **how: object) -> None:
    """Say that nothing can be installed."""
    raise RuntimeError(SAID)


async def get_transformed_code(words: list[str]) -> str:
    """Return what `%pip` becomes: the same sentence."""
    return f"raise RuntimeError({SAID!r})"
