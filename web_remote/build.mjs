// Builds the remote into dist/: index.html, the hashed script, style and 3D chunks, manifest and icon.
// `--watch` rebuilds on change; `--sizes` prints what a phone has to load.

import { readFile, readdir, rm, writeFile } from "node:fs/promises";
import { basename, dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import * as esbuild from "esbuild";

const root = dirname(fileURLToPath(import.meta.url));
const dist = join(root, "dist");
const watching = process.argv.includes("--watch");

/** Writes the page last, so that a folder with an index.html is a whole build. */
const page = {
  name: "page",
  setup(build) {
    build.onStart(() => rm(dist, { recursive: true, force: true }));
    build.onEnd(async ({ errors, metafile }) => {
      if (errors.length > 0) return;
      const main = Object.entries(metafile.outputs).find(([, output]) => output.entryPoint === "src/main.tsx");
      if (!main) throw new Error("build.mjs: src/main.tsx gave no script");
      const [script, { cssBundle, imports }] = main;
      if (!cssBundle) throw new Error("build.mjs: src/main.tsx imported no style");
      // What the script needs at once is fetched beside it; what it imports later (the 3D view) is not.
      const early = imports.filter(({ kind, external }) => kind === "import-statement" && !external);
      const preloads = early.map(({ path }) => `<link rel="modulepreload" href="${basename(path)}">`);
      const [html, manifest, icon] = await Promise.all(
        ["index.html", "manifest.webmanifest", "icon.svg"].map((name) => readFile(join(root, "page", name), "utf8")),
      );
      await writeFile(join(dist, "icon.svg"), icon);
      await writeFile(join(dist, "manifest.webmanifest"), manifest);
      await writeFile(
        join(dist, "index.html"),
        html
          .replace("<!-- style -->", `<link rel="stylesheet" href="${basename(cssBundle)}">`)
          .replace(
            "<!-- script -->",
            [...preloads, `<script type="module" src="${basename(script)}"></script>`].join("\n    "),
          ),
      );
    });
  },
};

/** @type {esbuild.BuildOptions} */
const options = {
  absWorkingDir: root,
  entryPoints: ["src/main.tsx"],
  entryNames: "[name]-[hash]",
  chunkNames: "[name]-[hash]",
  outdir: "dist",
  bundle: true,
  splitting: true,
  format: "esm",
  target: ["es2022", "safari16", "firefox115", "chrome111"],
  jsx: "automatic",
  jsxImportSource: "preact",
  minify: !watching,
  sourcemap: watching ? "linked" : false,
  legalComments: "eof",
  metafile: true,
  logLevel: "warning",
  plugins: [page],
};

if (watching) {
  const context = await esbuild.context(options);
  await context.watch();
} else {
  await esbuild.build(options);
}

if (process.argv.includes("--sizes")) {
  let all = 0;
  for (const name of (await readdir(dist)).sort()) {
    const size = gzipSync(await readFile(join(dist, name)), { level: 9 }).length;
    all += size;
    console.log(`${(size / 1000).toFixed(1).padStart(8)} kB gzip  ${name}`);
  }
  console.log(`${(all / 1000).toFixed(1).padStart(8)} kB gzip  everything`);
}
