"""Runs a build from beginning to end: the lock, the manifest, and one of two ways.

In: a `BuildConfig`. Out: a `BuildSummary`; outputs and the manifest in the output folder, which any `Storage` may hold. Where a short look tells that
nothing changed (`snapshot.py`), that is all; else the build goes its whole way (`full_build.py`), which is only loaded then.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import nullcontext
from typing import TYPE_CHECKING

from lickwright.build import snapshot
from lickwright.build.build_config import BuildConfig
from lickwright.build.option_sets import OptionSets
from lickwright.build.summary import BuildObserver, BuildSummary
from lickwright.store.addresses import is_remote
from lickwright.store.guarded_database import Unusable, is_damage
from lickwright.store.open_storage import open_storage

if TYPE_CHECKING:
    from lickwright.store.manifest import Manifest
    from lickwright.store.storage import Storage


def build_library(config: BuildConfig, observer: BuildObserver) -> BuildSummary:
    """Build, and return the summary. After Ctrl-C the summary says `stopped`, and the next build goes on from there.

    Raises `NoAddress` for an address that cannot be used at all.
    """
    summary = BuildSummary(observer)
    storage = open_storage(config.out)
    try:
        with nullcontext() if config.dry else storage.hold(observer.say):
            try:
                _run(config, storage, observer, summary)
            except (Unusable, sqlite3.DatabaseError, UnicodeError) as e:
                if not is_damage(e) or summary.stopped:
                    raise
                if config.dry:
                    from lickwright.store.unusable_manifest import set_aside_message

                    observer.say(set_aside_message(config.out, e))
                else:
                    storage.set_aside(e, observer.say)
                summary = BuildSummary(observer)
                _run(config, storage, observer, summary, forget=config.dry)
    except OSError as e:
        from lickwright.store.output_writer import unwritable_trouble

        summary.fail_build(unwritable_trouble(_where(config), e, storage.noun))
    return summary


def _where(config: BuildConfig) -> str:
    """Return the folder that cannot be written into: with one source, that of its own outputs."""
    if len(config.paths) == 1 and not os.path.isdir(config.paths[0]) and not is_remote(config.out):
        from lickwright.core.slugs import slug

        return os.path.join(config.out, slug(os.path.splitext(os.path.basename(config.paths[0]))[0]))
    return config.out


def _run(
    config: BuildConfig, storage: Storage, observer: BuildObserver, summary: BuildSummary, forget: bool = False
) -> None:
    """Try to build, with the lock held. `forget`: a dry run with a manifest that cannot be used."""
    option_sets = OptionSets(config.options_of)
    short = snapshot.is_applicable(config) and not storage.is_interrupted()
    with storage.manifest(write=not config.dry, sync=config.sync, forget=forget, whole=not short) as manifest:
        if short and _tell_unchanged(config, storage, manifest, option_sets, summary):
            return
        from lickwright.build.full_build import FullBuild

        manifest.check_whole()
        FullBuild(config, storage, manifest, option_sets, observer, summary).run()


def _tell_unchanged(
    config: BuildConfig, storage: Storage, manifest: Manifest, option_sets: OptionSets, summary: BuildSummary
) -> bool:
    """Return True, with everything counted and shown, if a look at the snapshot tells that there is nothing to do."""
    known = snapshot.unchanged_since_snapshot(manifest, storage, config, option_sets)
    if known is None:
        return False
    summary.found = summary.unchanged = known.found
    summary.files, summary.licks, summary.gone, summary.older = known.files, known.licks, known.gone, known.older
    for one in known.remembered:
        summary.remember(one, option_sets.all[one.option_set], report=False)
    return True
