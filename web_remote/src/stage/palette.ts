import { Color } from "three";

/** The stage's colours, from the same custom properties as the cards, so that light and dark agree. */
export interface Palette {
  ink: Color;
  trunk: Color;
  limb: Color;
  light: Color;
  support: Color;
  mark: Color;
  unlit: Color;
  lit: Color;
}

export function readPalette(element: Element): Palette {
  const style = getComputedStyle(element);
  const read = (name: string): Color => new Color(style.getPropertyValue(name).trim() || "#888888");
  return {
    ink: read("--figure-ink"),
    trunk: read("--figure-trunk"),
    limb: read("--figure-limb"),
    light: read("--floor-light"),
    support: read("--lamp"),
    mark: read("--ink"),
    unlit: read("--figure-unlit"),
    lit: read("--glow"),
  };
}
