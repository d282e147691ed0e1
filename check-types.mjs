// Type check of the pages' scripts: imports are resolved as the workbench serves them, each feature's
// folder web/FEATURE/static at /static/FEATURE/, the shared one at /static/.
import { existsSync } from "node:fs";
import path from "node:path";
import ts from "typescript";

const here = path.dirname(new URL(import.meta.url).pathname);
const web = path.join(here, "src/ebbline/web");
const config = ts.parseJsonConfigFileContent(ts.readConfigFile(path.join(here, "jsconfig.json"), ts.sys.readFile).config, ts.sys, here);

const served = (file) => {
  const [first, second, ...rest] = path.relative(web, file).split(path.sep);
  return first === "static" ? path.posix.join("/static", second, ...rest) : path.posix.join("/static", first, ...rest);
};
const lies = (address) => {
  const [, , feature, ...rest] = address.split("/");
  const own = path.join(web, feature, "static", ...rest);
  return existsSync(own) ? own : path.join(web, "static", feature, ...rest);
};

const host = ts.createCompilerHost(config.options);
host.resolveModuleNameLiterals = (literals, from) =>
  literals.map(({ text }) => {
    const file = lies(text.startsWith("/") ? text : path.posix.join(path.posix.dirname(served(from)), text));
    return { resolvedModule: existsSync(file) ? { resolvedFileName: file, extension: ts.Extension.Js, isExternalLibraryImport: false } : undefined };
  });

const program = ts.createProgram(config.fileNames, config.options, host);
const wrong = ts.getPreEmitDiagnostics(program);
const words = { getCurrentDirectory: () => here, getCanonicalFileName: (name) => name, getNewLine: () => "\n" };
process.stdout.write(ts.formatDiagnostics(wrong, words));
process.exit(wrong.length ? 1 : 0);
