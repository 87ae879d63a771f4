import { CanvasTexture } from "three";

/** White in the middle, nothing at the rim. */
export function fading(): CanvasTexture {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 128;
  const pen = canvas.getContext("2d");
  if (pen) {
    const fade = pen.createRadialGradient(64, 64, 0, 64, 64, 64);
    for (let i = 0; i <= 8; i++) {
      const r = i / 8;
      fade.addColorStop(r, `rgba(255,255,255,${(1 - r * r * (3 - 2 * r)).toFixed(3)})`);
    }
    pen.fillStyle = fade;
    pen.fillRect(0, 0, 128, 128);
  }
  return new CanvasTexture(canvas);
}
