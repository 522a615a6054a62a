// A mail server for the tests of mail: node mail_server.cjs MODULES CERTIFICATE KEY MODE
// It is smtp-server from the npm registry, mailparser reads the mails and pngjs their pictures; MODULES holds them. MODE is a list of words with commas:
//   implicit   TLS from the first byte; else STARTTLS is offered
//   no-tls     STARTTLS is not offered
//   open       takes mail without a user; else user "farm" with the password "open sesame"
//   hangs      connects, and says nothing
//   hangs-after-mail   takes a mail and never says what it makes of it
//   slow       half a second before each answer to a mail
//   busy-once  says 451 to the first mail, takes the others
//   busy       says 451 to every mail
//   full       says 452 to every recipient
//   closes     says 421 to whoever comes
// It refuses the recipient nobody@example.org with 550. Each mail taken is one line of JSON on standard output:
// from, to, secure, user, source (as it came, if it has no pictures) and what a reader makes of it; of each picture its
// size, and for each of its columns how many points are of a strong blue, and of a strong red. The first line is {"port":…}.
const fs = require('fs');
const path = require('path');
const net = require('net');
const pointsOf = (png, fits) =>
  Array.from({ length: png.width }, (_, x) => {
    let count = 0;
    for (let y = 0; y < png.height; y += 1) {
      const [red, green, blue] = png.data.subarray(4 * (y * png.width + x));
      if (fits(red, green, blue)) count += 1;
    }
    return count;
  });
const [modules, certificate, key, mode] = process.argv.slice(2);
const is = (word) => mode.split(',').includes(word);
const say = (value) => fs.writeSync(1, JSON.stringify(value) + '\n');
const no = (code, words) => Object.assign(new Error(words), { responseCode: code });
process.stdin.on('end', () => process.exit(0)).resume();

if (is('hangs') || is('closes')) {
  const server = net.createServer((socket) => {
    socket.on('error', () => {});
    if (is('closes')) socket.end('421 mail.example.org closes for the night\r\n');
  });
  server.listen(0, '127.0.0.1', () => say({ port: server.address().port }));
} else {
  const { SMTPServer } = require(path.join(modules, 'smtp-server'));
  const { simpleParser } = require(path.join(modules, 'mailparser'));
  const { PNG } = require(path.join(modules, 'pngjs'));
  const pictureOf = (attachment) => {
    const png = PNG.sync.read(attachment.content);
    return {
      id: attachment.cid,
      type: attachment.contentType,
      related: attachment.related,
      width: png.width,
      height: png.height,
      blue: pointsOf(png, (red, green, blue) => blue > 100 && red < 60),
      red: pointsOf(png, (red, green, blue) => red > 150 && green < 60 && blue < 60),
    };
  };
  let mails = 0;
  const server = new SMTPServer({
    name: 'mail.example.org',
    cert: fs.readFileSync(certificate),
    key: fs.readFileSync(key),
    secure: is('implicit'),
    hideSTARTTLS: is('no-tls'),
    allowInsecureAuth: false,
    authOptional: is('open'),
    disableReverseLookup: true,
    onAuth: (login, session, done) =>
      login.username === 'farm' && login.password === 'open sesame' ? done(null, { user: login.username }) : done(no(535, 'wrong user or password')),
    onRcptTo: (to, session, done) => {
      if (is('full')) return done(no(452, 'no room left'));
      return done(to.address === 'nobody@example.org' ? no(550, 'there is nobody of that name') : null);
    },
    onData: (stream, session, done) => {
      const parts = [];
      stream.on('data', (part) => parts.push(part));
      stream.on('end', async () => {
        mails += 1;
        if (is('busy') || (is('busy-once') && mails === 1)) return done(no(451, 'come back later'));
        const source = Buffer.concat(parts);
        const read = await simpleParser(source, { skipHtmlToText: true, skipTextToHtml: true, keepCidLinks: true });
        say({
          from: session.envelope.mailFrom.address,
          to: session.envelope.rcptTo.map((to) => to.address),
          secure: session.secure,
          user: session.user || null,
          source: read.attachments.length === 0 ? source.toString() : '',
          pictures: read.attachments.map(pictureOf),
          types: [...source.toString().matchAll(/^Content-Type: ([^;\r]+)/gm)].map((match) => match[1]),
          longest: Math.max(...source.toString().split('\r\n').map((line) => line.length)),
          subject: read.subject,
          date: read.date,
          id: read.messageId,
          sender: read.from.value[0],
          text: read.text,
          html: read.html,
          type: read.headers.get('content-type').value,
          automatic: read.headers.get('auto-submitted'),
        });
        if (is('hangs-after-mail')) return undefined;
        return setTimeout(() => done(null, 'taken in'), is('slow') ? 500 : 0);
      });
    },
  });
  server.on('error', () => {});
  server.listen(0, '127.0.0.1', () => say({ port: server.server.address().port }));
}
