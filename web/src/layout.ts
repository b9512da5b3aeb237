// Tiles of the chest unrolled, as src/report/strip.c lays them out: columns and rows that a scheme leaves out give
// their room to the others. In shares of the strip's width and height.
import type { Zone } from "./types";

export interface Tile { zone: Zone; x: number; y: number; width: number; height: number }

const near = (a: number, b: number): boolean => Math.abs(a - b) < 1e-9;
const unique = (values: number[]): number[] => values.sort((a, b) => a - b).filter((v, i, all) => !i || !near(v, all[i - 1]!));
const rowOf = (zone: Zone): number => zone.top + zone.bottom / 16; // whole columns sort apart

/** `sternum`, `gapX`, `gapY` in shares. */
export function layOut(zones: Zone[], sternum: number, gapX: number, gapY: number): Tile[] {
  const half = (1 - sternum) / 2 - gapX;
  return zones.map(zone => {
    const side = zones.filter(other => other.side === zone.side);
    const columns = unique(side.map(other => other.from));
    const rows = unique(side.filter(other => near(other.from, zone.from)).map(rowOf));
    const column = columns.findIndex(v => near(v, zone.from)), row = rows.findIndex(v => near(v, rowOf(zone)));
    const width = (half - gapX * (columns.length - 1)) / columns.length;
    const height = (1 - gapY * (rows.length - 1)) / rows.length;
    const from = sternum / 2 + gapX + column * (width + gapX);
    return { zone, x: zone.side === "right" ? 0.5 - from - width : 0.5 + from, y: row * (height + gapY), width, height };
  });
}

/** The tile next to one in a direction, for the arrow keys. */
export function neighbour(tiles: Tile[], key: string, dx: number, dy: number): string {
  const from = tiles.find(tile => tile.zone.key === key);
  if (!from) return tiles[0]?.zone.key ?? "";
  const x = from.x + from.width / 2, y = from.y + from.height / 2;
  let best = key, least = Infinity;
  for (const tile of tiles) {
    const ux = tile.x + tile.width / 2 - x, uy = tile.y + tile.height / 2 - y;
    const along = ux * dx + uy * dy, across = Math.abs(ux * dy) + Math.abs(uy * dx);
    if (tile === from || along <= 0.01) continue;
    const cost = along + 2.5 * across;
    if (cost < least) { least = cost; best = tile.zone.key; }
  }
  return best;
}
