"""The pictures of the safety pages: plain drawings of our own, written as SVG.

`python -m tests.docs.safety_pictures` from the checkout's top writes them; `test_safety_pages` holds the
files against this and against the pages. Figures stand here once, with their source.
"""

from collections.abc import Callable, Sequence
from html import escape
from math import exp, log, log10
from pathlib import Path

PICTURES = Path(__file__).parents[2] / "docs" / "pictures"
WIDE = 720
FONT = "'DejaVu Sans',Arial,sans-serif"
INK, PALE, WATER, WARN, GOOD, LINE = "#222222", "#f6f6f2", "#d6e6f2", "#b3261e", "#2e6b34", "#8a8a80"

CO2_PPM = (
    (5_000, "8-hour limit: OSHA, NIOSH, ACGIH, HSE. The box: air it before you go in"),
    (15_000, "15-minute limit: HSE (Britain). The box: leave"),
    (30_000, "15-minute limit: NIOSH, ACGIH. The box: keep out"),
    (40_000, "immediately dangerous: NIOSH"),
    (70_000, "unconscious, from here on"),
)
"""ppm. Sources: OSHA chemical sampling information CH_225400; EH40/2005 through a secondary source for HSE's
15 minutes; NIOSH 1996 through a secondary source for the last two."""
LEGIONELLA_C = (20, 45)
"""HSE, Other risk systems, 2022."""
FLUSHES_PER_H = (6, 20)
LEFT_SHARE = 0.05
IP = (
    ("X4", "splashes from any side", ""),
    ("X5", "a jet", "12.5 l/min; nozzle 6.3 mm, from 3 m"),
    ("X6", "a strong jet", "100 l/min; nozzle 12.5 mm"),
    ("X7", "under water", "1 m deep, 30 min"),
)
"""IEC 60529 as told by two tables of makers (uniboat.dk, illuma.co.uk); the standard itself was not read."""
NEVER = (
    ("bleach", "acid, descaler, vinegar", "chlorine gas"),
    ("bleach", "ammonia", "chloramines"),
    ("bleach", "alcohol", "chloroform"),
    ("acid", "peroxide", "peracetic acid"),
)
"""Inspection tips on sanitizers (suncorpvaluations.com; feretirees.com 2020; J. Bayly 2020)."""


def minutes_to(share: float, changes_per_h: float) -> float:
    """Until that share of what floats in a mixed room is left: -ln(share) / changes, in minutes."""
    return -log(share) / changes_per_h * 60


# --- strokes ---------------------------------------------------------------------------------------------


def text(
    x: float, y: float, words: str, size: int = 13, *, ink: str = INK, at: str = "start", bold: bool = False
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    style = f'font-size="{size}" fill="{ink}" text-anchor="{at}"{weight}'
    return f'<text x="{x:g}" y="{y:g}" {style}>{escape(words)}</text>'


def box(
    x: float, y: float, w: float, h: float, *, fill: str = "white", ink: str = INK, round_: int = 4
) -> str:
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="{round_}" fill="{fill}" stroke="{ink}" '
        'stroke-width="1.5"/>'
    )


def path(points: str, *, ink: str = INK, wide: float = 2, fill: str = "none", dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    stroke = f'stroke="{ink}" stroke-width="{wide:g}" stroke-linejoin="round"{dashed}'
    return f'<path d="{points}" fill="{fill}" {stroke}/>'


def dot(x: float, y: float, r: float, *, fill: str = "white", ink: str = INK) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{r:g}" fill="{fill}" stroke="{ink}" stroke-width="1.5"/>'


def drop(x: float, y: float, size: float = 6) -> str:
    top, foot, belly = y - size, y + size, y + size / 2
    points = f"M{x:g} {top:g}Q{x + size:g} {belly:g} {x:g} {foot:g}Q{x - size:g} {belly:g} {x:g} {top:g}Z"
    return path(points, ink="#3a6a92", wide=1, fill="#9cc4e4")


def cross(x: float, y: float, size: float = 16) -> str:
    left, right, top, foot = x - size, x + size, y - size, y + size
    points = f"M{left:g} {top:g}L{right:g} {foot:g}M{left:g} {foot:g}L{right:g} {top:g}"
    return path(points, ink=WARN, wide=4)


def tick(x: float, y: float, size: float = 14) -> str:
    return path(
        f"M{x - size:g} {y:g}l{size * 0.7:g} {size * 0.8:g}l{size * 1.2:g} -{size * 1.7:g}", ink=GOOD, wide=4
    )


def person(x: float, y: float) -> str:
    """Standing, feet at y."""
    return dot(x, y - 62, 9) + path(f"M{x} {y - 53}V{y - 25}M{x - 14} {y - 40}L{x} {y - 46}L{x + 14} {y - 40}"
                                    f"M{x - 10} {y}L{x} {y - 25}L{x + 10} {y}")  # fmt: skip


def many(parts: Sequence[tuple[float, float, str]], size: int = 13, at: str = "start") -> str:
    return "".join(text(x, y, words, size, at=at) for x, y, words in parts)


# --- pictures --------------------------------------------------------------------------------------------


def zones() -> tuple[int, str]:
    """Which supply feeds what, and what stands where."""
    wet = box(400, 40, 300, 290, fill=WATER) + text(550, 62, "WET ZONE", 15, at="middle", bold=True)
    wet += "".join(
        drop(x, y) for x, y in ((440, 95), (470, 120), (500, 92), (640, 100), (670, 124), (610, 90))
    )
    wet += box(425, 150, 115, 50) + many(
        ((482, 171, "sensor board"), (482, 188, "12 or 24 V SELV")), 12, "middle"
    )
    wet += box(565, 150, 115, 50) + many(((622, 171, "mist valve"), (622, 188, "24 V SELV")), 12, "middle")
    wet += box(425, 240, 255, 66) + many(
        ((552, 262, "fan, pump: own fuse, rated for spray,"), (552, 279, "lockable switch in sight,"),
         (552, 296, "guard, sign: MAY START AT ANY TIME")), 12, "middle")  # fmt: skip
    dry = box(20, 40, 330, 290, fill=PALE) + text(185, 62, "DRY SIDE", 15, at="middle", bold=True)
    dry += box(36, 80, 100, 230) + text(86, 100, "fuse board", 12, at="middle", bold=True)
    dry += many(((86, 118, "by a licensed"), (86, 133, "electrician")), 12, "middle")
    for y, name in ((165, "RCD / GFCI 1"), (255, "RCD / GFCI 2")):
        dry += box(44, y - 14, 84, 28, fill="#fff4d6") + text(86, y + 4, name, 11, at="middle")
    dry += box(190, 140, 140, 50) + many(
        ((260, 160, "relays, closed box;"), (260, 177, "mains and SELV apart")), 12, "middle"
    )
    dry += box(190, 230, 140, 50) + many(
        ((260, 250, "gillhouse box, router,"), (260, 267, "what calls you")), 12, "middle"
    )
    wires = path("M128 165H190", wide=3) + path("M128 255H190", wide=3) + path("M330 152H372V273H425", wide=3)
    wires += path("M330 176H386V175H425", wide=1.5, dash="5 4") + path("M540 175H565", wide=1.5, dash="5 4")
    wires += path("M260 230V190", wide=1.5, dash="5 4")
    legend = (
        path("M30 352H60", wide=3) + text(68, 357, "mains", 12) + path("M130 352H160", wide=1.5, dash="5 4")
    )
    legend += text(
        168, 357, "12 or 24 V SELV and signals. The alarm hangs on another device than the wet loads.", 12
    )
    return 370, dry + wet + wires + legend


def isolate() -> tuple[int, str]:
    """Four steps before anybody opens anything."""
    found = ""
    titles = ("1  switch off", "2  lock it, tag it", "3  prove it dead", "4  work, by two")
    notes = (
        ("the switch in sight of", "the pump, fan or lamp"),
        ("your own padlock,", "your own key"),
        ("tester tried on a live", "point before and after"),
        ("who may open mains:", "a licensed electrician"),
    )
    for n, (title, lines) in enumerate(zip(titles, notes, strict=True)):
        x = 15 + n * 176
        found += box(x, 20, 164, 190, fill=PALE) + text(x + 82, 44, title, 14, at="middle", bold=True)
        found += many([(x + 82, 178 + 17 * row, line) for row, line in enumerate(lines)], 12, "middle")
    found += box(70, 70, 54, 80) + path("M97 110L113 86", wide=6) + dot(97, 110, 5, fill=INK)
    found += text(97, 145, "0", 12, at="middle", bold=True)
    found += (
        path("M256 108V92a17 17 0 0 1 34 0V108", wide=5)
        + box(246, 108, 54, 44, fill="#fff4d6")
        + dot(273, 127, 5, fill=INK)
    )
    found += box(420, 66, 60, 56) + text(450, 101, "0 V", 18, at="middle", bold=True)
    found += path("M430 122V154M470 122V154", wide=3) + person(590, 152) + person(650, 152)
    found += box(15, 226, 690, 40, fill="#fbe9e7", ink=WARN)
    found += text(
        360,
        251,
        'A screen, a lamp or a relay that says "off" proves nothing. Only step 3 does.',
        14,
        at="middle",
        bold=True,
    )
    return 282, found


def drip_loop() -> tuple[int, str]:
    """How a cable comes to a box."""
    right = box(60, 20, 280, 250, fill=PALE) + box(150, 60, 110, 80) + tick(300, 60)
    right += path("M205 140V200Q205 240 245 240Q290 240 290 190V20", wide=4) + box(
        197, 136, 16, 12, fill=LINE
    )
    right += drop(245, 256) + many(
        (
            (75, 45, "comes in from below,"),
            (75, 180, "hangs in a loop:"),
            (75, 197, "water drips off"),
            (75, 214, "at its lowest point"),
        ),
        12,
    )
    wrong = box(380, 20, 280, 250, fill=PALE) + box(470, 110, 110, 80) + cross(620, 55)
    wrong += path("M525 110V20", wide=4) + drop(516, 60) + drop(534, 84) + drop(516, 100)
    wrong += path("M490 160H560M490 172H560", ink="#3a6a92") + many(
        (
            (395, 45, "from above: water"),
            (395, 62, "runs along it"),
            (395, 225, "into the box, whatever its IP rating"),
        ),
        12,
    )
    return 285, right + wrong


def ip_ratings() -> tuple[int, str]:
    """What the second digit stands for."""
    found = text(20, 30, "IP: the second digit is about water", 15, bold=True)
    for n, (digit, words, how) in enumerate(IP):
        x = 20 + n * 174
        found += box(x, 45, 160, 150, fill=WATER if n < 3 else "#b7d2e8") + box(x + 55, 95, 50, 40)
        found += text(x + 80, 70, f"IP{digit}", 16, at="middle", bold=True)
        found += text(x + 80, 158, words, 12, at="middle") + many(
            [(x + 80, 174 + 14 * row, part) for row, part in enumerate(how.split("; "))], 10, "middle"
        )
    found += drop(45, 100) + drop(40, 128) + drop(150, 105) + drop(152, 130)
    found += path("M200 115H246", ink="#3a6a92", wide=3) + path("M376 115H420", ink="#3a6a92", wide=9)
    found += path("M546 84q10 -8 20 0t20 0t20 0t20 0t20 0t20 0t20 0", ink="#3a6a92", wide=2)
    rows = (
        "First digit 6: dust-tight. X6 does not imply X7. A rating holds only with the right glands, the lid",
        "tight, the box the right way up. None is about water that condenses inside: drain or breather.",
    )
    return 250, found + many([(20, 218 + 18 * n, row) for n, row in enumerate(rows)], 12)


def co2() -> tuple[int, str]:
    """The limits for people on one scale, and where the gas lies."""

    def across(ppm: float) -> float:
        return 30 + (log10(ppm) - 3) / 2 * 400

    found = text(20, 26, "Carbon dioxide and people, parts per million", 15, bold=True)
    ends = [1_000, *(ppm for ppm, _ in CO2_PPM), 100_000]
    shades = ("#e5efe0", "#fdf3cf", "#fbdcae", "#f4b598", "#e58f7e", "#c9605a")
    for begin, end, shade in zip(ends, ends[1:], shades, strict=False):
        shaded = f'height="26" fill="{shade}"'
        found += f'<rect x="{across(begin):g}" y="40" width="{across(end) - across(begin):g}" {shaded}/>'
    for n, (ppm, words) in enumerate(CO2_PPM):
        y = 96 + 26 * n
        found += (
            path(f"M{across(ppm):g} 40V66", wide=1.5)
            + text(30, y, f"{ppm:,}", 13, bold=True)
            + text(90, y, words, 12)
        )
    for ppm in (1_000, 10_000, 100_000):
        found += text(across(ppm), 80, f"{ppm:,}", 10, ink=LINE, at="middle")
    room = box(545, 36, 160, 190, fill="white") + "".join(
        f'<rect x="546" y="{150 + 15 * n}" width="158" height="15" fill="#888" opacity="{0.12 + 0.1 * n:g}"/>'
        for n in range(5)
    )
    room += person(600, 224) + box(660, 190, 34, 18) + text(677, 203, "CO2", 10, at="middle")
    room += many(
        (
            (625, 56, "it sinks and lies low:"),
            (625, 72, "mind pits and floors,"),
            (625, 88, "hang a sensor low"),
        ),
        12,
        "middle",
    )
    return 245, found + room


def flush() -> tuple[int, str]:
    """How long the fan runs before anybody goes in."""
    left, top, wide, tall, longest = 60.0, 40.0, 560.0, 190.0, 40.0
    found = text(20, 26, "Spores left in the air, with the fan running and nobody inside", 15, bold=True)
    found += path(f"M{left} {top}V{top + tall}H{left + wide}")
    for minute in range(0, 41, 10):
        x = left + wide * minute / longest
        found += text(x, top + tall + 18, f"{minute} min", 11, at="middle") + path(
            f"M{x} {top + tall}v4", wide=1
        )
    for share in (1.0, 0.5, LEFT_SHARE):
        y = top + tall * (1 - share)
        found += text(left - 8, y + 4, f"{share:.0%}", 11, at="end") + path(
            f"M{left} {y}H{left + wide}", wide=0.7, ink=LINE, dash="3 3"
        )
    legend = 70
    for changes, ink in zip(FLUSHES_PER_H, ("#3a6a92", GOOD), strict=True):
        points = [(left + wide * m / 80, top + tall * (1 - exp(-changes * m / 120))) for m in range(81)]
        found += path("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points), ink=ink, wide=2.5)
        end = minutes_to(LEFT_SHARE, changes)
        x = left + wide * end / longest
        found += dot(x, top + tall * (1 - LEFT_SHARE), 5, fill=ink, ink=ink)
        words = f"{changes} air changes an hour: {LEFT_SHARE:.0%} left after {end:.0f} min"
        found += path(f"M330 {legend}h30", ink=ink, wide=3) + text(368, legend + 4, words, 12, ink=ink)
        legend += 22
    return 265, found


def legionella() -> tuple[int, str]:
    """Where it grows, and what has to come together."""

    def across(celsius: float) -> float:
        return 40 + celsius * 9

    low, high = LEGIONELLA_C
    found = text(20, 26, "Water that is sprayed: when it can make people ill", 15, bold=True)
    found += box(across(0), 50, across(70) - across(0), 26, fill=WATER, round_=0)
    found += box(across(low), 50, across(high) - across(low), 26, fill="#f4b598", round_=0)
    found += text(across((low + high) / 2), 68, f"grows: {low} to {high} C", 13, at="middle", bold=True)
    for celsius in range(0, 71, 10):
        found += text(across(celsius), 92, f"{celsius}", 11, at="middle")
    needs = (
        ("germs in", "the water"),
        ("20 to 45 C", ""),
        ("droplets that", "are breathed"),
        ("water that stands", "or goes round"),
        ("scale, rust,", "sludge, slime"),
    )
    for n, (first, second) in enumerate(needs):
        x = 40 + n * 133
        found += (
            box(x, 115, 118, 56, fill=PALE)
            + text(x + 59, 140 if second else 148, first, 12, at="middle")
            + text(x + 59, 157, second, 12, at="middle")
        )
        found += text(x + 125, 148, "+", 16, at="middle", bold=True) if n < 4 else ""
    rows = (
        "Take away one and the risk falls: fresh cool water, nothing that stands, clean lines and nozzles,",
        "flush with nobody inside, write it down. How often: your risk assessment says, not this box.",
    )
    return 235, found + many([(40, 198 + 18 * n, row) for n, row in enumerate(rows)], 12)


def bottle(x: float, y: float, words: str) -> str:
    shape = f"M{x} {y + 70}V{y + 22}L{x + 14} {y + 10}V{y}H{x + 30}V{y + 10}L{x + 44} {y + 22}V{y + 70}Z"
    return path(shape, fill="white") + text(x + 22, y + 86, words, 11, at="middle")


def chemicals() -> tuple[int, str]:
    """What must never meet."""
    found = text(20, 26, "One product at a time: what must never meet", 15, bold=True)
    for n, (one, other, gas) in enumerate(NEVER):
        x, y = 20 + (n % 2) * 350, 42 + (n // 2) * 135
        found += box(x, y, 335, 125, fill=PALE) + bottle(x + 18, y + 14, one) + bottle(x + 120, y + 14, other)
        found += text(x + 92, y + 62, "+", 20, at="middle", bold=True) + path(
            f"M{x + 178} {y + 56}h20m-7 -6l8 6l-8 6"
        )
        found += text(x + 206, y + 60, gas, 11, ink=WARN, bold=True) + cross(x + 92, y + 56, 14)
    found += text(
        20,
        332,
        "Rinse between, air the space, gloves and eye protection, follow the label. Mist off until rinsed.",
        12,
    )
    return 345, found


def floors() -> tuple[int, str]:
    """Before climbing, and before walking in."""
    found = box(15, 20, 335, 230, fill=PALE) + box(365, 20, 340, 230, fill=PALE)
    found += text(182, 44, "before you climb", 14, at="middle", bold=True) + text(
        535, 44, "after mist", 14, at="middle", bold=True
    )
    found += path("M110 220L150 80M190 220L150 80M122 180H178M131 148H169M139 118H161", wide=3)
    found += path("M40 62H120", wide=8, ink="#c9b458") + cross(80, 62, 12) + person(232, 220)
    found += path("M218 178L186 170", wide=2) + many(
        (
            (255, 90, "lamp and fan"),
            (255, 107, "isolated first:"),
            (255, 124, "UV hurts eyes"),
            (255, 141, "and skin; blades"),
            (255, 158, "start unasked"),
        ),
        11,
    )
    found += text(182, 242, "a second person holds it", 12, at="middle")
    found += (
        path("M390 215q20 -12 40 0t40 0t40 0t40 0", ink="#3a6a92", wide=2, fill=WATER)
        + drop(420, 196)
        + drop(470, 192)
        + drop(520, 196)
    )
    found += path("M600 80L650 170H550Z", fill="#fff4d6", wide=3) + text(
        600, 150, "!", 40, at="middle", bold=True
    )
    found += many(
        (
            (380, 70, "drain, grating, boots that grip;"),
            (380, 88, "wait until it has run off;"),
            (380, 106, "hose rolled up, no cable on"),
            (380, 124, "the floor"),
        ),
        12,
    )
    found += text(535, 242, "wet floor: nobody runs, nobody carries high", 12, at="middle")
    return 262, found


DRAWN: dict[str, tuple[str, Callable[[], tuple[int, str]]]] = {
    "safety-zones.svg": ("What stands where: dry side, wet zone, and two residual-current devices", zones),
    "safety-isolate.svg": ("Switch off, lock, prove dead, then work", isolate),
    "safety-drip-loop.svg": ("A cable comes into a box from below, with a loop", drip_loop),
    "safety-ip.svg": ("What the water digit of an IP rating stands for", ip_ratings),
    "safety-co2.svg": ("Limits of carbon dioxide for people", co2),
    "safety-flush.svg": ("How long a fan takes to clear the air of spores", flush),
    "safety-legionella.svg": ("Water at 20 to 45 degrees, and what else it takes", legionella),
    "safety-chemicals.svg": ("Cleaning products that must never meet", chemicals),
    "safety-floors.svg": ("Ladders and wet floors", floors),
}


def drawn(name: str) -> str:
    """The whole file."""
    title, draw = DRAWN[name]
    tall, body = draw()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {tall}" width="{WIDE}" height="{tall}" '
        f'font-family="{FONT}" role="img">\n<title>{escape(title)}</title>\n'
        f"<desc>{escape(draw.__doc__ or title)}</desc>\n"
        f'<rect width="{WIDE}" height="{tall}" fill="white"/>\n{body}\n</svg>\n'
    )


def main() -> None:
    for name in DRAWN:
        (PICTURES / name).write_text(drawn(name), encoding="utf-8")
        print(PICTURES / name)


if __name__ == "__main__":
    main()
