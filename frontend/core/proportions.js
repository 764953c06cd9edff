// @ts-check
/** Shares and what a count of them can bear. Twin of `domain/proportions.py`. @module */

export const Z_80 = 1.2815515655446004;

/** The lowest and the highest share that a count bears: Wilson 1927. */
export function wilson(successes, trials, z) {
  const share = successes / trials;
  const squared = z * z;
  const scale = 1 + squared / trials;
  const middle = share + squared / (2 * trials);
  const spread = z * Math.sqrt((share * (1 - share)) / trials + squared / (4 * trials * trials));
  return [successes === 0 ? 0 : (middle - spread) / scale, successes === trials ? 1 : (middle + spread) / scale];
}
