// The engine counts bytes of UTF-8, the page units of UTF-16.

/** Turns byte offsets into places in the string: one walk over the text for all of them. */
export function utf16(text: string, offsets: number[]): Map<number, number> {
  const sorted = [...new Set(offsets)].sort((a, b) => a - b);
  const places = new Map<number, number>();
  let byte = 0, unit = 0;
  for (const offset of sorted) {
    while (byte < offset && unit < text.length) {
      const code = text.charCodeAt(unit);
      if (code < 0x80) { byte += 1; unit += 1; }
      else if (code < 0x800) { byte += 2; unit += 1; }
      else if (code >= 0xd800 && code < 0xdc00 && unit + 1 < text.length) { byte += 4; unit += 2; }
      else { byte += 3; unit += 1; }
    }
    places.set(offset, unit);
  }
  return places;
}
