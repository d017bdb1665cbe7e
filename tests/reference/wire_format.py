# SPDX-License-Identifier: Apache-2.0
"""The line's bytes as proto/wire.md describes them, read a second time: plain Python, nothing shared with proto/wire."""

POLYNOMIAL = 0x82F63B78  # CRC-32C, reflected
MASK = 0xA5
CHANNELS = 24
STEP_FORM = 17


class Damaged(Exception):
    """Bytes that no sender writes; the text says why."""


def _crc_table():
    table = []
    for byte in range(256):
        rest = byte
        for _ in range(8):
            rest = (rest >> 1) ^ (POLYNOMIAL if rest & 1 else 0)
        table.append(rest)
    return table


_TABLE = _crc_table()


def crc32c(data):
    rest = 0xFFFFFFFF
    for byte in data:
        rest = (rest >> 8) ^ _TABLE[(rest ^ byte) & 0xFF]
    return rest ^ 0xFFFFFFFF


def unstuff(frame):
    """Payload of a frame without its delimiter."""
    out = bytearray()
    at = 0
    while at < len(frame):
        code = frame[at]
        if code == 0:
            raise Damaged("a zero inside a frame")
        run = frame[at + 1 : at + code]
        if len(run) != code - 1 or 0 in run:
            raise Damaged("a run past the end, or a zero in it")
        out += run
        at += code
        if code != 255 and at < len(frame):
            out.append(0)
    return bytes(out)


def unframe(frame):
    """Payload whose checksum holds."""
    stuffed = unstuff(frame)
    if len(stuffed) < 4:
        raise Damaged("shorter than its checksum")
    payload, check = stuffed[:-4], int.from_bytes(stuffed[-4:], "little")
    if crc32c(payload) != check:
        raise Damaged("checksum")
    return payload


class Body:
    """An unmasked body, read column by column. `seen` tells which forms occurred."""

    def __init__(self, body):
        self.rest = bytes(byte ^ MASK for byte in body)
        self.seen = set()

    def take(self, count):
        if len(self.rest) < count:
            raise Damaged("body ends inside a column")
        taken, self.rest = self.rest[:count], self.rest[count:]
        return taken

    def number(self, count, signed=False):
        return int.from_bytes(self.take(count), "little", signed=signed)

    def head(self):
        head = self.number(1)
        return head & 31, head >> 5

    def values(self, width, exceptions, count):
        if width > 25:
            raise Damaged("width above 25")
        packed = int.from_bytes(self.take((count * width + 7) // 8), "little")
        values = [packed >> (k * width) & ((1 << width) - 1) for k in range(count)]
        last = -1
        for _ in range(exceptions):
            index, high = self.number(1), self.number(2)
            if not last < index < count or high == 0:
                raise Damaged("exception out of place")
            values[index] |= high << width
            last = index
        self.seen.add("exceptions" if exceptions else "plain")
        return values

    def column(self, count):
        width, exceptions = self.head()
        return self.values(width, exceptions, count)

    def referred_column(self, count, reference_bytes, signed):
        width, exceptions = self.head()
        reference = self.number(reference_bytes, signed)
        return [reference + value for value in self.values(width, exceptions, count)]

    def end(self):
        if self.rest:
            raise Damaged("bytes left over")


def cell_variance(cell):
    """Middle of a variance cell, code^2."""
    if cell == 0:
        return 0.0
    if cell < 16:
        return (cell + 0.5) / 64
    octave = cell // 8 - 1
    return (8 + cell % 8 + 0.5) * 2**octave / 64


def unpack_windows(body, scans, count):
    """Per channel a list of (min, mean_8, max, variance, below, above)."""
    reader = Body(body)
    below, above = reader.number(3), reader.number(3)
    channels = []
    for channel in range(CHANNELS):
        mean = reader.referred_column(count, 3, True)
        low = reader.column(count)
        high = reader.column(count)
        cells = reader.referred_column(count, 2, False)
        beneath = reader.column(count) if below >> channel & 1 else [0] * count
        beyond = reader.column(count) if above >> channel & 1 else [0] * count
        windows = []
        for k in range(count):
            whole = mean[k] // 8
            window = (whole - low[k], mean[k], whole + high[k], cell_variance(cells[k]), beneath[k], beyond[k])
            check_window(window, scans, cells[k])
            windows.append(window)
        channels.append(windows)
    reader.end()
    return channels, reader.seen


def check_window(window, scans, cell):
    least, mean, most, _, below, above = window
    if not (-32768 <= least and -262144 <= mean <= 262136 and most <= 32767 and cell <= 271):
        raise Damaged("a value beyond 16-bit codes")
    if below > scans or above > scans:
        raise Damaged("more scans counted than there are")


def unpack_capture(body, channels, count):
    """Per channel a list of codes."""
    reader = Body(body)
    result = []
    for _ in range(channels):
        form, exceptions = reader.head()
        reference = reader.number(2, True)
        values = reader.values(form - STEP_FORM if form >= STEP_FORM else form, exceptions, count)
        reader.seen.add("steps" if form >= STEP_FORM else "distances")
        codes = []
        for value in values:
            if form >= STEP_FORM:
                reference += value // 2 if value % 2 == 0 else -(value + 1) // 2
                codes.append(reference)
            else:
                codes.append(reference + value)
        if min(codes) < -32768 or max(codes) > 32767:
            raise Damaged("a value beyond 16-bit codes")
        result.append(codes)
    reader.end()
    return result, reader.seen
