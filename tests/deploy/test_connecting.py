"""deploy/CONNECTING.md: what it shows is run and read as it stands there."""

import re
import ssl
import subprocess
from pathlib import Path

import pytest
import trustme

from brineward.config.load import load_settings
from brineward.config.settings import HttpChannel
from brineward.link.embedded import free_port
from brineward.texts.published_text import received_text
from brokers import until
from checkout import ROOT
from deploy.test_mosquitto_settings import PASSWORDS, Somebody, debian_with, settled

PAGE = (ROOT / "deploy" / "CONNECTING.md").read_text(encoding="utf-8")
SMALLEST = (ROOT / "config" / "smallest.toml").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """The page's blocks in a language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


def block(language: str, words: str) -> str:
    """The one block in a language that has these words."""
    [found] = [one for one in blocks(language) if words in one]
    return found


def test_every_way_to_people_and_the_heartbeat_are_a_config(tmp_path: Path) -> None:
    """All the examples together: receipts, two ways, modem, mail, siren, heartbeat, reply topic."""
    shown = [
        "[channels.phone]\n", "[channels.phone.receipts]", "[people.yard]", "[channels.modem]",
        "[channels.mail]", "[channels.siren]", "[heartbeat]", "[reply_topic]",
    ]  # fmt: skip
    before, _, after = SMALLEST.partition("[channels.screen]")
    depots = after[after.index("[depots") :]
    (tmp_path / "own.toml").write_text(
        "\n".join([before, *(block("toml", one) for one in shown), depots]), encoding="utf-8"
    )
    settings = load_settings(tmp_path / "own.toml")
    assert {one.kind for one in settings.channels.values()} == {"http", "modem", "mail", "siren"}
    assert settings.people["yard"].channels == ("phone", "mail")
    assert settings.reply_topic is not None
    assert settings.reply_topic.topic == "brine/texts/received"
    example = received_text(block("json", '"received"').encode())
    assert (example.sender, example.text) == ("+15550141", "TH3 on it")
    assert settings.heartbeat is not None
    assert settings.heartbeat.topic == "brine/watch/alive"


def test_the_second_watchs_depot_is_a_config(tmp_path: Path) -> None:
    """The first watch's state topic is a depot's sensor like any other."""
    before = SMALLEST[: SMALLEST.index("[depots")]
    depot = block("toml", "[depots.first-watch]")
    (tmp_path / "own.toml").write_text(f"{before}\n{depot}", encoding="utf-8")
    (source,) = load_settings(tmp_path / "own.toml").sources
    assert (source.topic, source.depot) == ("brine/watch/alive", "first-watch")


def test_the_gateways_example_is_a_config(tmp_path: Path) -> None:
    """Put in a config, its channel carries texts with the key, and its replies are listened for."""
    texts_and_replies = block("toml", "[channels.phone]\n")
    (tmp_path / "own.toml").write_text(f"{SMALLEST}\n{texts_and_replies}", encoding="utf-8")
    settings = load_settings(tmp_path / "own.toml")
    phone = settings.channels["phone"]
    assert isinstance(phone, HttpChannel)
    assert set(phone.fields.values()) == {"{address}", "{body}", "{id}"}
    assert settings.replies is not None
    assert (settings.replies.kind, settings.replies.listen_port) == ("signed", 8091)


def test_the_links_example_is_a_config(tmp_path: Path) -> None:
    """In place of another [link] it is read: TLS, its port, and the authority."""
    link = block("toml", "[link]")
    rest = SMALLEST[SMALLEST.index("[journal]") :]
    (tmp_path / "own.toml").write_text(link + rest, encoding="utf-8")
    settings = load_settings(tmp_path / "own.toml").link
    assert settings.tls is not None
    assert (settings.port, settings.host) == (8883, "192.0.2.10")


@pytest.mark.mosquitto
def test_a_gateway_that_trusts_the_authority_gets_in_and_one_of_another_does_not(
    tmp_path: Path,
) -> None:
    """The page's own commands, at this machine's address; then brineward.conf's TLS listener."""
    papers, tls = tmp_path / "certs", free_port()
    papers.mkdir()
    shown = block("sh", "openssl req")
    assert "IP:192.0.2.10" in shown
    commands = shown.replace("/etc/mosquitto/certs", str(papers)).replace(
        "IP:192.0.2.10", "IP:127.0.0.1"
    )
    subprocess.run(["sh", "-eu", "-c", commands], check=True, capture_output=True, timeout=120)
    assert (papers / "ca.key").stat().st_mode & 0o077 == 0
    settings = settled(tmp_path, free_port())
    off = [line for line in settings.splitlines() if re.match(r"#[a-z_]+ \S+$", line)]
    assert (off[0], len(off)) == ("#listener 8883", 6)
    for line in off:
        settings = settings.replace(line, line[1:])
    settings = settings.replace("listener 8883", f"listener {tls} 127.0.0.1")
    settings = settings.replace("/etc/mosquitto/certs/", f"{papers}/")
    with debian_with(tmp_path, settings):
        gateway = Somebody(tls, "tern-hollow", PASSWORDS["tern-hollow"], papers / "ca.pem")
        assert gateway.answer == "Success"
        gateway.say("brine/tern-hollow/main-level", b"1.5")
        until(gateway.is_connected, what="a gateway that stays")
        gateway.close()
        other = tmp_path / "other.pem"
        trustme.CA().cert_pem.write_to_path(str(other))
        with pytest.raises(ssl.SSLCertVerificationError):
            Somebody(tls, "tern-hollow", PASSWORDS["tern-hollow"], other)
