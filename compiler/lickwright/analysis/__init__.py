"""Analysis of a counted lick: difficulty, the key and box that it fits, figures, and a fingerprint of its phrase.

In: a Timeline. Out: values and, where a declared level is far off, a finding. Nothing here reads files or draws.
"""
