// json-rules-engine at its best: one engine a measure, so that a reading only meets rules of its own; engines are
// built once and used again. node peer.mjs RULES.json READINGS.json: prints one JSON object.
import { readFileSync } from 'node:fs';
import { Engine } from 'json-rules-engine';

const rules = JSON.parse(readFileSync(process.argv[2], 'utf8'));
const readings = JSON.parse(readFileSync(process.argv[3], 'utf8'));
const engines = new Map();
for (const rule of rules) {
  if (!engines.has(rule.measure)) engines.set(rule.measure, new Engine());
  engines.get(rule.measure).addRule({
    conditions: { all: [{ fact: 'value', operator: rule.low ? 'lessThan' : 'greaterThan', value: rule.limit }] },
    event: { type: rule.name },
  });
}
const standing = new Map();
const verdicts = [];
const begin = process.cpuUsage();
for (let i = 0; i < readings.length; ++i) {
  const [probe, measure, value] = readings[i];
  const engine = engines.get(measure);
  if (!engine) continue;
  const { events, failureEvents } = await engine.run({ value });
  for (const event of events) {
    const key = `${event.type} ${probe}`;
    if (standing.get(key)) continue;
    standing.set(key, true);
    verdicts.push(`${i} ${event.type} +`);
  }
  for (const event of failureEvents) {
    const key = `${event.type} ${probe}`;
    if (!standing.get(key)) continue;
    standing.set(key, false);
    verdicts.push(`${i} ${event.type} -`);
  }
}
const used = process.cpuUsage(begin);
const seconds = (used.user + used.system) / 1e6;
console.log(JSON.stringify({ seconds, verdicts }));
