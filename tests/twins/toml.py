"""Tables of a site file as TOML text."""


def toml_text(tables: dict) -> str:
    """A site file of tables; lists of tables become arrays of tables."""
    lines = []
    for name, value in tables.items():
        if isinstance(value, list):
            for one in value:
                lines += [f"[[{name}]]", *keys(one), ""]
        else:
            lines += [f"[{name}]", *keys(value), ""]
    return "\n".join(lines)


def keys(table: dict) -> list[str]:
    return [f"{key} = {text(value)}" for key, value in table.items()]


def text(value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, dict):
        return "{ " + ", ".join(keys(value)) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(text(one) for one in value) + "]"
    return repr(value)
