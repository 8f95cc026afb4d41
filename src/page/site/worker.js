// Keeps the page on the device, so that it opens without a network. A newer one is fetched whole beside it, and is used
// when no page is open any more.
const mine = `amperule ${self.registration.scope} `, kept = `${mine}%VERSION%`;
const files = ['./', 'manifest.webmanifest', 'icon.svg', 'icon.png'];

self.addEventListener('install', event => event.waitUntil(caches.open(kept).then(held => held.addAll(files.map(file => new Request(file, { cache: 'reload' }))))));
self.addEventListener('activate', event => event.waitUntil(caches.keys().then(all => Promise.all(all.filter(name => name.startsWith(mine) && name !== kept).map(name => caches.delete(name))))));
self.addEventListener('fetch', event => {
  const asked = event.request.mode === 'navigate' ? './' : event.request;
  event.respondWith(caches.open(kept).then(held => held.match(asked)).then(found => found ?? fetch(event.request)));
});
