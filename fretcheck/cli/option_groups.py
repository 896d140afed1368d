"""Options that belong together as the fields of one dataclass: each field is an option, the command gets the dataclass."""

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import Any, get_type_hints


def with_groups(command: Callable[..., Any]) -> Callable[..., Any]:
    """The command as typer is to see it: in place of a parameter that is a dataclass, that class's fields.

    `command`: all of its parameters have a default or a type of ``Annotated[..., typer.Option(...)]``, as have the fields.
    """
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {name: hint for name, hint in hints.items() if isinstance(hint, type) and is_dataclass(hint)}
    options = []
    for name, one in signature(command).parameters.items():
        if name in groups:
            types = get_type_hints(groups[name], include_extras=True)
            found = [(field.name, types[field.name], field.default) for field in fields(groups[name])]
        else:
            found = [(name, hints[name], one.default)]
        options += [Parameter(key, Parameter.KEYWORD_ONLY, annotation=hint, default=default) for key, hint, default in found]

    @wraps(command)
    def flat(**given: Any) -> Any:
        for name, group in groups.items():
            given[name] = group(**{field.name: given.pop(field.name) for field in fields(group)})
        return command(**given)

    flat.__signature__ = Signature(options)  # type: ignore[attr-defined]
    flat.__annotations__ = {one.name: one.annotation for one in options}
    return flat
