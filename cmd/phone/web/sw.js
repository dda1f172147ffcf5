// Keeps the page for where there is no network. VERSION is made from all files; a new one replaces the old when no tab
// shows it any more. The session lies in a database of its own and is not touched.
'use strict';
const version = 'trueturn-VERSION';
const files = FILES;

addEventListener('install', e => e.waitUntil(caches.open(version).then(cache => cache.addAll(files.map(f => new Request(f, { cache: 'reload' }))))));
addEventListener('activate', e => e.waitUntil(caches.keys().then(names => Promise.all(names.filter(n => n.startsWith('trueturn-') && n !== version).map(n => caches.delete(n))))));
addEventListener('fetch', e => {
  if (e.request.method !== 'GET' || !e.request.url.startsWith(registration.scope)) return;
  e.respondWith(caches.open(version).then(async cache => (await cache.match(e.request, { ignoreSearch: true })) || fetch(e.request)));
});
