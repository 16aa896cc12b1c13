"""What an 8-bit controller really does: a cycle-accurate run of the firmware image.

The image (1.1h, stock options) was run instruction by instruction on a model of its processor at
16 MHz, with exact models of its serial port and timers; the cycles of thirteen groups of
instructions were checked against the data book. Not measured on a physical board. Settings: 80
steps/mm, 10 000 mm/min, 1000 mm/s², full power at S1000, laser mode; a host that keeps 127 bytes
in the receive buffer.
"""

# A straight row of equal dots, on and off in turn: length in mm, speed asked, true speed, mm/min.
SUSTAINED = [
    (0.1, 2000, 2000),
    (0.1, 2200, 2200),
    (0.1, 2400, 2400),
    (0.1, 2500, 2265),
    (0.1, 4000, 2265),
    (0.1, 8000, 2265),
    (0.05, 1200, 1200),
    (0.05, 4000, 1200),
    (0.15, 4000, 3430),
    (0.2, 4000, 3997),
    (0.2, 8000, 4170),
    (0.25, 5500, 4843),
    (0.25, 8000, 4843),
    (0.3, 5500, 5495),
    (0.3, 8000, 5495),
    (0.5, 6000, 5994),
    (0.5, 10000, 7156),
]
# Dots of 0.1 mm asked to run at 4000 mm/min: acceleration in mm/s², true speed.
BY_ACCELERATION = [(500, 2090), (3000, 2472)]
# Rows whose lines are others, of ROW_LINES: their lines, how far each goes along x and on its way,
# mm, and the true speed. Absolute places, lines without S, and a zigzag of whole lines; of this one
# length and rate are known (0.279 mm, 99 lines a second), the steps of each leg follow from both.
ROW_LINES = 800
OTHER_ROWS = {
    "absolute, 2400": (
        ["G90G1X.1S0F2400M4", *(f"X{n / 10:g}S{n % 2 * 600}" for n in range(2, ROW_LINES))],
        (0.1, 0.1),
        2398,
    ),
    "absolute, 4000": (
        ["G90G1X.1S0F4000M4", *(f"X{n / 10:g}S{n % 2 * 600}" for n in range(2, ROW_LINES))],
        (0.1, 0.1),
        2251,
    ),
    "without S": (["G91G1X.1S0F4000M4", *["X.1"] * ROW_LINES], (0.1, 0.1), 2372),
    "zigzag": (
        ["M4", *(f"G1X{n * 0.275:.3f}Y{n % 2 * 0.05:g}F4000S500" for n in range(1, ROW_LINES))],
        (0.275, 0.2795),
        1656,
    ),
}
# One to three dots of 0.1 mm at random, asked to run at 4000 mm/min.
RANDOM_RUNS = 3995
WITHIN = 0.03
