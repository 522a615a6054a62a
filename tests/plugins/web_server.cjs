// A web server over TLS for the tests of web-hook: node web_server.cjs CERTIFICATE KEY SIGN-KEY-FILE [plain]
// The path says how it behaves:
//   /ok          200
//   /says/WORD   200 and {"status":"WORD"}
//   /fails/CODE  that status, and a reason in words
//   /once/CODE   that status the first time, 200 from then on; with a Retry-After of 1 s
//   /slow/MS     200 after so long
//   /hangs       takes the request and never answers
//   /breaks      takes the request and hangs up
//   /leads       302 to /ok
//   /floods      200 and an answer of 8 MiB
// Each request is one line of JSON on standard output: method, path, headers, body, and "signed": whether its
// signature holds, by a reading of RFC 9421 and RFC 9530 of its own. The first line is {"port":…}.
const crypto = require('crypto');
const fs = require('fs');
const [certificate, key, signKeyFile, plain] = process.argv.slice(2);
const signKey = fs.readFileSync(signKeyFile, 'utf8').split('\n')[0];
const seen = new Map();

const say = (value) => fs.writeSync(1, JSON.stringify(value) + '\n');

function signatureHolds(request, body) {
  const input = request.headers['signature-input'];
  const signature = request.headers['signature'];
  if (!input || !signature) return null;
  const [, label, parameters, names] = /^([a-z]+)=(\(([^)]*)\).*)$/.exec(input);
  const given = new RegExp(`^${label}=:([A-Za-z0-9+/=]*):$`).exec(signature);
  const url = new URL(request.url, 'https://here');
  const derived = { '@method': request.method, '@authority': request.headers.host.toLowerCase(), '@path': url.pathname, '@query': url.search };
  const lines = names.split(' ').map((quoted) => {
    const name = JSON.parse(quoted);
    return `${quoted}: ${name in derived ? derived[name] : request.headers[name]}`;
  });
  lines.push(`"@signature-params": ${parameters}`);
  const wanted = crypto.createHmac('sha256', signKey).update(lines.join('\n')).digest('base64');
  const digest = `sha-256=:${crypto.createHash('sha256').update(body).digest('base64')}:`;
  const created = Number(/;created=(\d+)/.exec(parameters)[1]);
  return given[1] === wanted && request.headers['content-digest'] === digest && names.includes('"content-digest"') &&
    Math.abs(created - Date.now() / 1000) < 60;
}

function answer(request, response) {
  const [, what, detail] = new URL(request.url, 'https://here').pathname.split('/');
  const times = (seen.get(request.url) || 0) + 1;
  seen.set(request.url, times);
  switch (what) {
    case 'says': return response.end(JSON.stringify({ status: detail }));
    case 'fails': return response.writeHead(Number(detail)).end('not like\r\nthis');
    case 'once': return times === 1 ? response.writeHead(Number(detail), { 'Retry-After': '1' }).end() : response.end();
    case 'slow': return setTimeout(() => response.end(), Number(detail));
    case 'hangs': return undefined;
    case 'breaks': return request.socket.destroy();
    case 'leads': return response.writeHead(302, { Location: '/ok' }).end();
    case 'floods': return response.end(Buffer.alloc(8 << 20, 'x'));
    default: return response.end();
  }
}

function take(request, response) {
  const parts = [];
  request.on('data', (part) => parts.push(part));
  request.on('end', () => {
    const body = Buffer.concat(parts);
    say({ method: request.method, path: request.url, headers: request.headers, body: body.toString(), signed: signatureHolds(request, body) });
    answer(request, response);
  });
}

const server = plain
  ? require('http').createServer(take)
  : require('https').createServer({ cert: fs.readFileSync(certificate), key: fs.readFileSync(key) }, take);
server.listen(0, '127.0.0.1', () => say({ port: server.address().port }));
process.stdin.on('end', () => process.exit(0)).resume();
