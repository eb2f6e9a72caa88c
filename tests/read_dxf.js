// Reads a DXF file with the npm package dxf-parser and prints what it found as JSON.
const fs = require("fs");
const DxfParser = require("dxf-parser");
const Parser = DxfParser.default || DxfParser;
const dxf = new Parser().parseSync(fs.readFileSync(process.argv[2], "utf8"));
process.stdout.write(JSON.stringify(dxf));
