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
# One to three dots of 0.1 mm at random, asked to run at 4000 mm/min.
RANDOM_RUNS = 3995
WITHIN = 0.03
