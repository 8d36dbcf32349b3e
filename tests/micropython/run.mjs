// Runs a Python file under MicroPython: node run.mjs FILE
import { readFileSync } from "node:fs";
import { loadMicroPython } from "@micropython/micropython-webassembly-pyscript/micropython.mjs";

const micropython = await loadMicroPython({ stdout: (line) => console.log(line), linebuffer: true });
micropython.runPython(readFileSync(process.argv[2], "utf8"));
