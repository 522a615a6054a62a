// Holds YAML files against a JSON Schema (draft 2020-12). Usage: node validate.cjs MODULES SCHEMA FILE…
// Prints one line a file, "fine" or the first thing that is wrong ("cannot be read: …": it is no YAML). YAML is read by its core schema, as editors do.
const fs = require('fs');
const path = require('path');

const [modules, schemaFile, ...files] = process.argv.slice(2);
const Ajv = require(path.join(modules, 'ajv/dist/2020'));
const yaml = require(path.join(modules, 'js-yaml'));

const ajv = new Ajv({strict: true, allowUnionTypes: true, strictRequired: false});
const validate = ajv.compile(JSON.parse(fs.readFileSync(schemaFile, 'utf8')));
for (const file of files) {
  let content;
  try {
    content = yaml.load(fs.readFileSync(file, 'utf8'), {schema: yaml.CORE_SCHEMA});
  } catch (error) {
    console.log(`cannot be read: ${error.reason}`);
    continue;
  }
  if (validate(content)) {
    console.log('fine');
  } else {
    const {instancePath, message, params} = validate.errors[0];
    console.log(`${instancePath || '/'} ${message} ${JSON.stringify(params)}`);
  }
}
