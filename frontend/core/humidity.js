// @ts-check
/** Moisture of the air: twin of `domain/humidity.py`, where sources and limits stand. @module */

const MAGNUS_WATER = [0.6108, 17.27, 237.3];
const MAGNUS_ICE = [0.6112, 22.46, 272.62];
const PSYCHROMETER = 0.000662;
const SEA_LEVEL_KPA = 101.325;
const HALVINGS = 60;

/** The saturation vapour pressure over water (or ice) in kPa. @param {number} temp */
export function vapourKpa(temp, [base, slope, offset] = MAGNUS_WATER) {
  return base * Math.exp((slope * temp) / (temp + offset));
}

/** The temperature at which a vapour pressure in kPa saturates the air. @param {number} vapour */
export function inverse(vapour, [base, slope, offset] = MAGNUS_WATER) {
  const x = Math.log(vapour / base);
  return (offset * x) / (slope - x);
}

/** The dew point over water, below freezing too. @param {number} temp @param {number} percent */
export function dewPoint(temp, percent) {
  return inverse((vapourKpa(temp) * percent) / 100);
}

/** The frost point, over ice; below freezing the humidity is taken over ice too. */
export function frostPoint(temp, percent) {
  const over = temp >= 0 ? MAGNUS_WATER : MAGNUS_ICE;
  return inverse((vapourKpa(temp, over) * percent) / 100, MAGNUS_ICE);
}

/** The wet bulb, from the moisture balance. */
export function wetBulb(temp, percent, pressureKpa = SEA_LEVEL_KPA) {
  const vapour = (vapourKpa(temp) * percent) / 100;
  let [low, high] = [dewPoint(temp, percent), temp];
  for (let turn = 0; turn < HALVINGS; turn += 1) {
    const middle = (low + high) / 2;
    const held = vapourKpa(middle) - PSYCHROMETER * pressureKpa * (temp - middle);
    if (held < vapour) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** The wet bulb by Stull's fit. */
export function stullWetBulb(temp, rh) {
  return temp * Math.atan(0.151977 * Math.sqrt(rh + 8.313659))
    + Math.atan(temp + rh)
    - Math.atan(rh - 1.676331)
    + 0.00391838 * rh * Math.sqrt(rh) * Math.atan(0.023101 * rh)
    - 4.686035;
}

/** The wet bulb by the one-third rule, near 0 °C only. */
export function thirdWetBulb(temp, dewPointC) {
  return temp - (temp - dewPointC) / 3;
}
