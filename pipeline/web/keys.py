"""Who was let in: this machine's own browser, and telephones, each by a key of its own.

The telephones of a farm are listed in the user's own state folder, by the farm's path: a farm folder that is copied,
sent or unpacked brings none along. The list holds no key, only what one is known by.
"""

from __future__ import annotations

import errno
import hashlib
import hmac
import json
import os
import secrets
import sys
import threading
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from pipeline.files.replace import make_folder, replace_file
from schemas.finding import OutOfReach

# So long a telephone stays let in, and so long its invitation holds: our choice, no source.
DEVICE_DAYS, INVITATION_MINUTES = 60, 15
MOST_DEVICES = 50


@dataclass(frozen=True)
class Device:
    """A telephone that was let in: a short name, by what its key is known (SHA-256), since when and until when."""

    name: str
    digest: str
    since: str
    until: str


def digest_of(key: str) -> str:
    """Return by what a key is known."""
    return hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass
class Keys:
    """The key of this run's own browser; invitations that wait for a telephone, each good once; and the telephones."""

    folder: Path
    desk: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    invitations: dict[str, datetime] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def is_desk(self, key: str) -> bool:
        """Whether this is the key of this run's own browser."""
        return hmac.compare_digest(digest_of(key), digest_of(self.desk))

    def invite(self, now: datetime) -> str:
        """Return a new invitation. The ones that are over go."""
        with self.lock:
            self.invitations = {each: until for each, until in self.invitations.items() if until > now}
            made = secrets.token_urlsafe(18)
            self.invitations[digest_of(made)] = now + timedelta(minutes=INVITATION_MINUTES)
            return made

    def let_in(self, invitation: str, now: datetime, before: str = "") -> str | None:
        """Return the key of a telephone that brings this invitation, which is used up; None where it is none. With the
        key that it had `before`, it is the same telephone still.
        """
        with self.lock:
            until = self.invitations.pop(digest_of(invitation), None)
            known, old = self._known(now), digest_of(before)
            same = next((each for each in known if hmac.compare_digest(each.digest, old)), None)
            known = [each for each in known if each is not same]
            if until is None or until <= now or len(known) >= MOST_DEVICES:
                return None
            key = secrets.token_urlsafe(24)
            name = same.name if same else f"phone {digest_of(key)[:6]}"
            end = now + timedelta(days=DEVICE_DAYS)
            self._save([*known, Device(name, digest_of(key), _text(now), _text(end))])
            return key

    def device(self, key: str, now: datetime) -> Device | None:
        """Return the telephone of this key, if it was let in and neither is over nor was shut out."""
        digest = digest_of(key)
        with self.lock:
            return next((each for each in self._known(now) if hmac.compare_digest(each.digest, digest)), None)

    def devices(self, now: datetime) -> list[Device]:
        """Return the telephones that are let in."""
        with self.lock:
            return self._known(now)

    def shut_out(self, name: str, now: datetime) -> bool:
        """Let a telephone in no more; whether there was one of this name."""
        with self.lock:
            known = self._known(now)
            left = [each for each in known if each.name != name]
            self._save(left)
            return len(left) < len(known)

    def _known(self, now: datetime) -> list[Device]:
        with suppress(OSError, ValueError, TypeError, KeyError):
            # Through no link: who may put one there must not say who is let in.
            handle = os.open(self.file, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
            with os.fdopen(handle, encoding="utf-8") as text:
                read = json.load(text) if _own(os.fstat(text.fileno())) else []
            found = [Device(**each) for each in read]
            return [each for each in found if datetime.fromisoformat(each.until) > now]
        return []

    def _save(self, devices: list[Device]) -> None:
        try:
            path = self.file
            make_folder(path.parent)
            replace_file(path, json.dumps([asdict(each) for each in devices], indent=1).encode(), mode=0o600)
        except OSError as problem:
            where = problem.filename or "your own folder for settings"
            raise OutOfReach(
                f"Which phones are let in cannot be written to {where}: {problem.strerror}. Nothing was changed. Mend "
                "the rights of that folder, or name another one in XDG_STATE_HOME."
            ) from problem

    @property
    def file(self) -> Path:
        """Where the telephones of this farm are listed."""
        place = os.path.normcase(self.folder.resolve())
        return state_folder() / "gillbook" / "phones" / f"{digest_of(place)[:32]}.json"


def state_folder() -> Path:
    """Return the folder where programs of this user keep what is of this computer alone. Raises OSError for none."""
    given = os.environ.get("XDG_STATE_HOME", "")
    if os.path.isabs(given):
        return Path(given)
    try:
        home = Path.home()
    except RuntimeError as problem:
        raise OSError(errno.ENOENT, "this user has no home folder") from problem
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    return home / "Library" / "Application Support" if sys.platform == "darwin" else home / ".local" / "state"


def _own(found: os.stat_result) -> bool:
    """Whether nobody but this user can have written it, as far as the operating system tells."""
    return os.name != "posix" or (found.st_uid == os.geteuid() and not found.st_mode & 0o022)


def _text(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")
