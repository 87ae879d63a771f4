// Runs test/*.test.ts with node's own test runner. Node 20 reads no TypeScript, so they are bundled first.

import { spawnSync } from "node:child_process";
import { readdirSync, rmSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import * as esbuild from "esbuild";

const root = dirname(fileURLToPath(import.meta.url));
const outdir = join(root, ".tested");
rmSync(outdir, { recursive: true, force: true });

const tests = readdirSync(join(root, "test")).filter((name) => name.endsWith(".test.ts"));
await esbuild.build({
  absWorkingDir: root,
  entryPoints: tests.map((name) => join("test", name)),
  outdir,
  outExtension: { ".js": ".mjs" },
  bundle: true,
  packages: "external",
  platform: "node",
  format: "esm",
  sourcemap: "inline",
  logLevel: "warning",
});

const files = tests.map((name) => join(outdir, name.replace(/\.ts$/, ".mjs")));
const { status } = spawnSync(process.execPath, ["--enable-source-maps", "--test", ...files], { stdio: "inherit" });
process.exit(status ?? 1);
