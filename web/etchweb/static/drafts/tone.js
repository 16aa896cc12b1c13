// The tile's greys, worked out in the browser so that a slider is seen at once. The sums are those
// of etchphoto.detail, etchphoto.tone and etchphoto.retouching, the sliders' reach that of
// etchweb.drafts.order.

const STEPS_TO_DOUBLE = 60;
const FULL_DETAIL = 2;
const FULLY_OPEN = 0.5;
const LOCAL_SHARE = 24;
const MEANS_IN_A_ROW = 3;
const LEVELS = 2048;
const FULL_STOPS = 2;
const OVAL_CORE = 0.6;
const [FADE_FROM, FADE_TO, FADE_WIDTH] = [1.82, 0.55, 0.4];
const TILE_WHITE = [233, 231, 225];
const FIRED_BLACK = [38, 35, 33];

const linear = (value) => (value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4);
const coded = (light) => (light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055);
const lightness = (y) => (y > (6 / 29) ** 3 ? 116 * Math.cbrt(y) - 16 : (29 / 3) ** 3 * y);
const luminance = (l) => (l > 8 ? ((l + 16) / 116) ** 3 : l / (29 / 3) ** 3);
const within = (value) => Math.min(Math.max(value, 0), 100);

const LIGHTNESS_OF_CODE = Float32Array.from({ length: 256 }, (_, code) => lightness(linear(code / 255)));

// What a picture is and what lies round each of its places: worked out once.
export function photoOf({ data, width, height }) {
  const values = Float32Array.from({ length: width * height }, (_, place) => LIGHTNESS_OF_CODE[data[place * 4]]);
  const radius = Math.max(2, Math.round(Math.min(width, height) / LOCAL_SHARE));
  return { width, height, values, far: meanAround(values, width, height, radius), near: meanAround(values, width, height, 1) };
}

export function meanAround(values, width, height, radius) {
  const result = Float32Array.from(values);
  for (let turn = 0; turn < MEANS_IN_A_ROW; turn += 1) {
    for (let row = 0; row < height; row += 1) runMean(result, row * width, 1, width, radius);
    for (let column = 0; column < width; column += 1) runMean(result, column, width, height, radius);
  }
  return result;
}

function runMean(values, first, step, count, radius) {
  const line = Float32Array.from({ length: count }, (_, place) => values[first + place * step]);
  const at = (place) => line[Math.min(Math.max(place, 0), count - 1)];
  let sum = 0;
  for (let place = -radius; place <= radius; place += 1) sum += at(place);
  for (let place = 0; place < count; place += 1) {
    values[first + place * step] = sum / (2 * radius + 1);
    sum += at(place + radius + 1) - at(place - radius);
  }
}

// What is retouched at each place: how many times its light, and how much white lies over it. The
// oval is in shares of the picture: its middle, half width and half height.
export function retouchingOf({ width, height }, { oval, face_light, fade }) {
  const over = (of, at) => {
    const values = new Float32Array(width * height);
    for (let row = 0, place = 0; row < height; row += 1) {
      const y = ((row + 0.5) / height - of.y) / of.half_height;
      for (let column = 0; column < width; column += 1, place += 1) {
        values[place] = at(Math.hypot(((column + 0.5) / width - of.x) / of.half_width, y));
      }
    }
    return values;
  };
  const stops = (FULL_STOPS * face_light) / 100;
  const whiteAt = FADE_FROM + ((FADE_TO - FADE_FROM) * fade) / 100;
  const whole = { x: 0.5, y: 0.5, half_width: 0.5, half_height: 0.5 };
  return {
    gains: face_light ? over(oval, (far) => 2 ** (stops * (1 - softly(far, OVAL_CORE, 1)))) : null,
    veils: fade ? over(whole, (far) => softly(far, whiteAt - FADE_WIDTH, whiteAt)) : null,
  };
}

function softly(value, low, high) {
  const share = Math.min(Math.max((value - low) / (high - low), 0), 1);
  return share * share * (3 - 2 * share);
}

function retouched(y, { gains, veils }, place) {
  if (gains) y = (gains[place] * y) / (1 + (gains[place] - 1) * y);
  return veils ? y + (1 - y) * veils[place] : y;
}

// Draws the tile into `image` (an ImageData), and returns the share of it that will be burnt.
// `black` is what fired black reflects beside the bare tile.
export function drawTile(photo, tones, image, black, retouching) {
  const { values, far, near } = photo;
  const local = (tones.local_contrast / 100) * FULL_DETAIL;
  const sharp = (tones.sharpness / 100) * FULL_DETAIL;
  const luminances = table(tones, black);
  const pixels = new Uint32Array(image.data.buffer);
  let light = 0;
  for (let place = 0; place < values.length; place += 1) {
    const own = values[place];
    const value = own + local * (own - far[place]) + sharp * (own - near[place]);
    const level = value <= 0 ? 0 : value >= 100 ? LEVELS : Math.round((value / 100) * LEVELS);
    const y = retouched(luminances[level], retouching, place);
    light += y;
    pixels[place] = COLOURS[Math.round(Math.cbrt(y) * LEVELS)];
  }
  return 1 - light / values.length;
}

// Half-way to equal steps of lightness between the tile's black and white, at 100.
function opened(y, amount, black) {
  if (!amount) return y;
  const darkest = lightness(black);
  const linearly = lightness(black + y * (1 - black));
  const equally = darkest + (lightness(y) / 100) * (100 - darkest);
  const shown = linearly + FULLY_OPEN * (amount / 100) * (equally - linearly);
  return (luminance(shown) - black) / (1 - black);
}

// For each lightness the luminance that it becomes.
function table({ lighter, contrast, open_shadows }, fired) {
  const gamma = 2 ** (lighter / STEPS_TO_DOUBLE);
  const stretch = 2 ** (contrast / STEPS_TO_DOUBLE);
  const luminances = new Float32Array(LEVELS + 1);
  for (let level = 0; level <= LEVELS; level += 1) {
    const bent = 100 * (level / LEVELS) ** (1 / gamma);
    luminances[level] = opened(luminance(within((bent - 50) * stretch + 50)), open_shadows, fired);
  }
  return luminances;
}

// The tile's colour for each luminance, by its cube root: even steps for an eye, nearly.
const COLOURS = new Uint32Array(LEVELS + 1);
const BYTES = new Uint8Array(COLOURS.buffer);
for (let level = 0; level <= LEVELS; level += 1) {
  const y = (level / LEVELS) ** 3;
  for (let channel = 0; channel < 3; channel += 1) {
    const [white, black] = [linear(TILE_WHITE[channel] / 255), linear(FIRED_BLACK[channel] / 255)];
    BYTES[level * 4 + channel] = Math.round(coded(black + y * (white - black)) * 255);
  }
  BYTES[level * 4 + 3] = 255;
}
