"""The systemd unit of the service, as text."""

from __future__ import annotations

NAME = "advisor.service"

_SYSTEM = """\
# The advisor as a service of this computer. Put it at /etc/systemd/system/{name}, then:
#   systemctl daemon-reload && systemctl enable --now {name}
# The household's folder is {folder}; what it logs: journalctl -u {unit}
# After a change of its files: systemctl reload {unit}

[Unit]
Description=Advisor for the weather windows of a lawn treatment
Wants=network-online.target
After=network-online.target time-sync.target

[Service]
Type=exec
ExecStart={command} serve --home {home}
ExecReload=/bin/kill -HUP $MAINPID
Restart=on-failure
RestartSec=30
TimeoutStopSec=15
DynamicUser=yes
StateDirectory={state}
StateDirectoryMode=0700
# A password that a channel names as password_file = "mail-password":
#LoadCredential=mail-password:/etc/advisor/mail-password
NoNewPrivileges=yes
PrivateTmp=yes
PrivateDevices=yes
ProtectSystem=strict
ProtectHome=yes
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectControlGroups=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
RestrictSUIDSGID=yes
RestrictNamespaces=yes
LockPersonality=yes
CapabilityBoundingSet=
UMask=0077

[Install]
WantedBy=multi-user.target
"""

_USER = """\
# The advisor as a service of one person. Put it at ~/.config/systemd/user/{name}, then:
#   systemctl --user daemon-reload && systemctl --user enable --now {name}
#   loginctl enable-linger    so that it runs while nobody is logged in
# What it logs: journalctl --user -u {unit}; after a change of its files: systemctl --user reload {unit}

[Unit]
Description=Advisor for the weather windows of a lawn treatment

[Service]
Type=exec
ExecStart={command} serve --home {home}
ExecReload=/bin/kill -HUP $MAINPID
Restart=on-failure
RestartSec=30
TimeoutStopSec=15
NoNewPrivileges=yes
UMask=0077

[Install]
WantedBy=default.target
"""


def unit_text(command: str, home: str | None = None, *, user: bool = False, state: str = "advisor") -> str:
    """The unit.

    Parameters
    ----------
    command : str
        What starts the program, with its whole path.
    home : str, optional
        The household's folder; for a service of the computer it is systemd's own, /var/lib/<state>.
    user : bool
        For one person instead of the computer.
    """
    unit = NAME.removesuffix(".service")
    if user:
        return _USER.format(name=NAME, unit=unit, command=command, home=_quoted(home or "."))
    return _SYSTEM.format(name=NAME, unit=unit, command=command, home=f"%S/{state}", state=state,
                          folder=f"/var/lib/{state}")  # fmt: skip


def _quoted(path: str) -> str:
    """As systemd reads it: % doubled, and quotes where there is a blank."""
    text = path.replace("\\", "\\\\").replace("%", "%%").replace("$", "$$")
    return f'"{text}"' if any(char in text for char in " \t'\";") else text
