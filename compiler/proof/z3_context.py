"""z3's context of this thread.

To make one takes longer than most questions take to decide, so questions that follow each other
share it. No context may be used by two threads at once. Where a model is read and told of, it comes
from a context of its own: which of several models z3 finds may depend on what it was asked before.
"""

from __future__ import annotations

import threading

import z3

_own = threading.local()


def context_of_this_thread() -> z3.Context:
    """z3's context for questions of which only the answer is wanted."""
    context: z3.Context | None = getattr(_own, "context", None)
    if context is None:
        context = _own.context = z3.Context()
    return context
