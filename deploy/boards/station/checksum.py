"""The checksums sensors send behind each word.

Polynomial 0x31 (x^8 + x^5 + x^4 + 1), as the data sheets of the sensors in `sensors` give it: start 0xFF for
the SHT and SCD families, 0x00 for the Si70xx family. Their worked examples stand in the tests.
"""


def crc8(data, start):
    """
    Args:
        data: bytes. start: 0xFF or 0x00.
    Returns: 0 to 255.
    """
    crc = start
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x31 if crc & 0x80 else crc << 1
            crc &= 0xFF
    return crc


def words(data, start=0xFF):
    """The 16-bit words of a block in which each word's two bytes are followed by their checksum.

    Raises:
        ValueError: a checksum is wrong, or the block is cut off.
    """
    if len(data) % 3:
        raise ValueError("cut off after %d bytes" % len(data))
    found = []
    for at in range(0, len(data), 3):
        pair = data[at : at + 2]
        if crc8(pair, start) != data[at + 2]:
            raise ValueError("checksum of word %d is wrong" % (at // 3))
        found.append((pair[0] << 8) | pair[1])
    return found
