"""The pretend instruments that speak text. Each has its manual in manuals/."""

from __future__ import annotations

import numpy as np

from .common import Instrument


def steps(first, last, step):
    return np.arange(first, last + step / 2, step, dtype=float)


class One(Instrument):
    """Lines of ASCII, decimal comma. Black first."""

    wavelengths = steps(400, 700, 10)
    end = b"\r\n"

    def answer(self, command: bytes) -> bytes:
        word = command.strip()
        if word in (b"NUL", b"VIT"):
            why = self.calibrate("black" if word == b"NUL" else "white")
            return {"done": b"FAIT\r\n", "order": b"DEFAUT 2\r\n", "piece": b"DEFAUT 3\r\n"}[why]
        if word == b"LIRE":
            got = self.measure()
            if isinstance(got, str):
                return b"DEFAUT 1\r\n"
            return " ".join(f"{v:.4f}" for v in got[0]).replace(".", ",").encode() + b"\r\n"
        if word == b"QUI":
            return b"LECTEUR 45-0 NO 0117\r\n"
        return b"DEFAUT 9\r\n"


class Two(Instrument):
    """Status words before the values, semicolons. Calibrations in any order."""

    wavelengths = steps(380, 730, 10)
    baud, parity, order = 19200, "E", "any"

    def answer(self, command: bytes) -> bytes:
        word = command.strip()
        if word in (b"zero", b"top"):
            why = self.calibrate("black" if word == b"zero" else "white")
            return b"DONE;0;0\r" if why == "done" else b"FAIL;41;0\r"
        if word == b"take":
            got = self.measure()
            if isinstance(got, str):
                return b"FAIL;40;0\r"
            r, full = got
            flags = 4 if full.any() else 0
            return (
                ";".join(
                    ["DONE", str(flags), f"{self.count:05d}", "lamp=3312", *(f"{v:.5f}" for v in r)]
                ).encode()
                + b"\r"
            )
        return b"FAIL;99;0\r"


class Three(Instrument):
    """Fields of fixed width without separators. White only."""

    wavelengths = steps(360, 740, 10)
    baud, bits, parity, stop, order = 4800, 7, "E", 2, "white only"
    end = b"\n"

    def answer(self, command: bytes) -> bytes:
        word = command.strip()
        if word == b"C1":
            return b"C100\n" if self.calibrate("white") == "done" else b"C107\n"
        if word == b"M1":
            got = self.measure()
            if isinstance(got, str):
                return b"M105\n"
            r, full = got
            cells = (
                "*****" if f else f"{round(v * 10000):5d}" for v, f in zip(r, full, strict=True)
            )
            return ("M100" + "".join(cells)).encode() + b"\n"
        return word[:2].ljust(2) + b"09\n"


class Eight(Instrument):
    """Trigger, poll, fetch; echo and a prompt. White before black."""

    wavelengths = steps(400, 700, 5)
    baud, order = 57600, "white first"
    polls_needed = 3

    def started(self) -> bytes:
        self.waiting, self.result, self.outcome = 0, None, "0"
        return b"\r\nport reader, rev 2\r\n] "

    def answer(self, command: bytes) -> bytes:
        return command + b"\r\n" + self.line(command.strip()).encode() + b"\r\n] "

    def line(self, word: bytes) -> str:
        if word == b"done?":
            if self.waiting:
                self.waiting -= 1
                return "wait"
            return "ready" if self.outcome == "0" else f"fault {self.outcome}"
        if self.waiting and word in (b"shoot", b"cal w", b"cal b", b"send"):
            return "fault 3"
        if word in (b"cal w", b"cal b"):
            why = self.calibrate("white" if word == b"cal w" else "black")
            if why == "order":
                return "fault 4"
            self.outcome, self.result, self.waiting = (
                ("0" if why == "done" else "5"),
                None,
                self.polls_needed,
            )
            return "ack"
        if word == b"shoot":
            got = self.measure()
            if isinstance(got, str):
                return "fault 6"
            self.outcome, self.result, self.waiting = "0", got[0], self.polls_needed
            return "ack"
        if word == b"send":
            if self.result is None:
                return "fault 7"
            line, self.result = " ".join(f"{v:.4f}" for v in self.result), None
            return line
        return "fault 9"


class Nine(Instrument):
    """The button starts everything; readings come unasked. Black, then white, by the button."""

    wavelengths = steps(390, 690, 10)
    baud, has_button, order = 38400, True, "black first"

    def started(self) -> bytes:
        return b"!ON 1.04\r\n!LAY BLACK\r\n"

    def press(self, patch_spectrum=None) -> bytes:
        if patch_spectrum is not None:
            self.place(patch_spectrum)
        if self.dark is None:
            ok = self.calibrate("black") == "done"
            out = b"!BLACK SET\r\n!LAY WHITE\r\n" if ok else b"!BLACK BAD\r\n!LAY BLACK\r\n"
        elif self.bright is None:
            ok = self.calibrate("white") == "done"
            out = b"!WHITE SET\r\n!FREE\r\n" if ok else b"!WHITE BAD\r\n!LAY WHITE\r\n"
        else:
            r, _ = self.measure()
            out = (
                f"R{self.count:04d}\t24.6\t" + "\t".join(f"{v * 100:.2f}" for v in r) + "\r\n"
            ).encode()
        self.log.append(("out", out))
        return out

    def answer(self, command: bytes) -> bytes:
        if command.strip() == b"?":
            return (
                b"!LAY BLACK\r\n"
                if self.dark is None
                else b"!LAY WHITE\r\n"
                if self.bright is None
                else b"!FREE\r\n"
            )
        if command.strip() == b"NEW":
            self.dark = self.bright = None
            return b"!LAY BLACK\r\n"
        return b"!WHAT\r\n"


class Ten(Instrument):
    """Several lines a reading, percent; white before black; calibrations due after 20 readings."""

    wavelengths = steps(360, 750, 10)
    order, limit = "white first", 20

    def answer(self, command: bytes) -> bytes:
        word = command.strip()
        if word in (b"WT", b"BK"):
            if word == b"WT":  # a new white makes the old black void
                why = self.calibrate("white")
                if why == "done":
                    self.dark = None
            else:
                why = self.calibrate("black")
            return {
                "done": b"+ OK\r\n",
                "order": b"- 21 WHITE FIRST\r\n",
                "piece": b"- 22 WRONG PIECE\r\n",
            }[why]
        if word == b"RD":
            got = self.measure()
            if got == "due":
                return b"- 30 CALIBRATE AGAIN\r\n"
            if isinstance(got, str):
                return b"- 20 NOT CALIBRATED\r\n"
            w, v = self.wavelengths, got[0] * 100
            lines = [f"+ {self.count:03d} {len(w)} VALUES"]
            lines += [
                f"{w[i]:.0f}: " + "  ".join(f"{x:6.2f}" for x in v[i : i + 5])
                for i in range(0, len(w), 5)
            ]
            return ("\r\n".join([*lines, "+ END"]) + "\r\n").encode()
        return b"- 10 UNKNOWN\r\n"
