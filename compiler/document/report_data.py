"""What commands tell of a layout with `--json`, from what was found."""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.diagnostics import Diagnostic, Span
from bellcrank.document import report_types


def diagnostics_data(diagnostics: Iterable[Diagnostic]) -> list[report_types.Diagnostic]:
    """Diagnostics, each with its places."""
    return [_diagnostic(d) for d in diagnostics]


def _diagnostic(d: Diagnostic) -> report_types.Diagnostic:
    return report_types.Diagnostic(
        code=d.code,
        severity=d.severity,
        message=d.message,
        file=d.span.file,
        line=d.span.line,
        column=d.span.column,
        end_line=d.span.end_line,
        end_column=d.span.end_column,
        expected=d.expected,
        hint=None if d.hint is None else str(d.hint),
        related=[_related(span, remark) for span, remark in d.related],
    )


def _related(span: Span, remark: str) -> report_types.Related:
    return report_types.Related(
        file=span.file,
        line=span.line,
        column=span.column,
        end_line=span.end_line,
        end_column=span.end_column,
        message=remark,
    )
