/* Runs once for each view of a panel, with the panel's mark; all else follows from what the page does.
   Comments here are of this form only: the file also travels as one line. */
window.lessonkitPanel = mark => {
  const panel = mark.closest('.lk-panel');
  if (!panel || panel.classList.contains('lk-ready')) return;
  panel.classList.add('lk-ready');
  const output = panel.closest('.jp-OutputArea');
  if (output) output.classList.add('lk-awake');
  panel.setAttribute('role', 'group');
  panel.setAttribute('aria-label', mark.title);

  /* The notebook's own keys (x cuts the cell) must not fire while a control has the focus; those with Ctrl,
     Alt or Meta (Ctrl+S saves) must. The page listens on the document, so the window hears a key before it. */
  if (!window.lessonkitListens) {
    window.lessonkitListens = true;
    window.addEventListener('keydown', event => {
      const control = event.target, command = event.ctrlKey || event.altKey || event.metaKey;
      if (!control.closest || !control.closest('.lk-panel')) return;
      control.toggleAttribute('data-lm-suppress-shortcuts', !command);
      /* A box to type in keeps its keys from the page; a command is for the page. */
      if (command) event.stopPropagation = () => {};
    }, true);
  }

  const set = (one, name, value) => {
    if (one.getAttribute(name) !== String(value)) one.setAttribute(name, value);
  };

  /* A control that had the focus may go, or be switched off: then a neighbour has it. */
  const usable = 'button:not(:disabled), select:not(:disabled), input:not(:disabled)';
  const within = group => [...group.querySelectorAll(usable)].filter(one => one.checkVisibility());
  let held = null, groups = [], place = 0;
  panel.addEventListener('focusin', event => {
    held = event.target;
    groups = [];
    for (let at = held.parentElement; at !== panel; at = at.parentElement)
      if (at.matches('.lk-row, .lk-group')) groups.push(at);
    place = groups.length ? within(groups[0]).indexOf(held) : 0;
  });
  panel.addEventListener('focusout', event => { if (event.relatedTarget) held = null; });
  const keep = () => {
    if (!held || panel.contains(held) && !held.disabled) return;
    held = null;
    for (const group of groups) {
      const left = panel.contains(group) ? within(group) : [];
      if (left.length) return left[Math.min(place, left.length - 1)].focus();
      place = Infinity;
    }
  };

  /* What is new is said once, by a region that stays when what it repeats is drawn again. */
  const region = panel.querySelector('.lk-told');
  const heard = {};
  const say = first => {
    const news = [];
    for (const name of ['.lk-lost', '.lk-news', '.lk-reading']) {
      const one = panel.querySelector(name);
      const words = one && one.checkVisibility() ? one.textContent.trim() : '';
      if (!first && words && words !== heard[name]) news.push(words);
      heard[name] = words;
    }
    if (!news.length) return;
    /* The one before stays: it may not have been read yet. */
    region.append(Object.assign(document.createElement('p'), {textContent: news.join(' ')}));
    while (region.childElementCount > 3) region.firstElementChild.remove();
  };

  /* What lives is sent whole after each click, and most of it is as before: to draw all of a picture again takes
     longer than to change what differs. So the page looks at the text before it becomes a picture. Empty lines
     part what is sent into elements, each compared with the last one; in a picture the first line begins it,
     the last one ends it, and each line between is one of its elements. */
  const markup = Object.getOwnPropertyDescriptor(Element.prototype, 'innerHTML');
  const take = () => {
    for (const place of panel.querySelectorAll(':is(.lk-living, .lk-still) > .widget-html-content')) {
      if (Object.hasOwn(place, 'innerHTML')) continue;
      let shown = null;
      const put = html => { shown = show(place, shown, html.split('\n\n')); };
      Object.defineProperty(place, 'innerHTML', {get: markup.get, set: put});
    }
  };
  /* Shows parts where others are shown, and returns them; null, if the next ones can't be told apart from them. */
  const show = (place, shown, parts) => {
    const renewed = shown?.length === parts.length &&
      parts.every((part, k) => part === shown[k] || renew(place.childNodes[k], shown[k], part));
    if (!renewed) markup.set.call(place, parts.join('').replaceAll('\n', ''));
    return place.childNodes.length === parts.length ? parts : null;
  };
  const made = (html, inside = document.createElement('template')) => {
    markup.set.call(inside, html);
    return (inside.content ?? inside).firstChild;
  };
  const renew = (old, shown, part) => {
    const was = shown.split('\n'), now = part.split('\n');
    if (was.length < 3 || now.length < 3) {
      const one = made(now.join(''));
      if (!one || one.nextSibling) return false;
      change(old, one);
      return true;
    }
    /* From the outside in, to the group that holds the elements. */
    let group = old, frame = made(now[0] + now.at(-1));
    for (;; group = group.lastChild, frame = frame.lastChild) {
      carry(group, frame);
      if (frame.childNodes.length > 1) change(group.firstChild, frame.firstChild);
      if (!frame.lastChild) break;
    }
    pair(group, was.slice(1, -1), now.slice(1, -1));
    return true;
  };
  /* Elements keep their order: those that are gone or came in between are found by a look ahead. */
  const near = (lines, line, from) => {
    const at = lines.indexOf(line, from);
    return at >= 0 && at < from + 8 ? at : -1;
  };
  const pair = (group, was, now) => {
    /* All that is new becomes a picture at once. */
    const known = new Set(was), picture = () => document.createElementNS(group.namespaceURI, 'svg'), news = picture();
    made(now.filter(line => !known.has(line)).join(''), news);
    const fresh = [...news.childNodes].values();
    let old = group.firstChild, at = 0;
    const next = () => { const one = old; old = old.nextSibling; at += 1; return one; };
    now.forEach((line, k) => {
      for (let stays = near(was, line, at); at < stays;) next().remove();
      if (was[at] === line) return next();
      const one = known.has(line) ? made(line, picture()) : fresh.next().value;
      if (old && near(now, was[at], k) < 0) change(next(), one); else group.insertBefore(one, old);
    });
    while (old) next().remove();
  };
  const carry = (old, now) => {
    for (const name of now.getAttributeNames()) set(old, name, now.getAttribute(name));
    for (const name of old.getAttributeNames()) if (!now.hasAttribute(name)) old.removeAttribute(name);
  };
  const change = (old, now) => {
    if (old.nodeName !== now.nodeName || old.childNodes.length !== now.childNodes.length) old.replaceWith(now);
    else if (!old.getAttribute) old.data = now.data;
    else {
      carry(old, now);
      const changed = [...now.childNodes];
      [...old.childNodes].forEach((one, k) => { if (!one.isEqualNode(changed[k])) change(one, changed[k]); });
    }
  };

  const tell = first => {
    for (const key of panel.querySelectorAll('.lk-key')) {
      if (key.classList.contains('lk-toggle')) set(key, 'aria-pressed', key.classList.contains('lk-on'));
      set(key, 'aria-label', key.title || key.textContent.trim());
    }
    say(first);
    keep();
  };
  let told = 0;
  const soon = () => { told = told || setTimeout(() => { told = 0; tell(false); }, 30); };
  take();
  tell(true);
  new MutationObserver(() => { take(); soon(); }).observe(panel, {subtree: true, childList: true, attributes: true,
    attributeFilter: ['class', 'title', 'disabled']});

  /* A click on a conductor in a picture goes on to the key that breaks it. */
  panel.addEventListener('click', event => {
    const drawn = event.target.closest('[data-key]');
    const name = drawn && 'lk-break-' + drawn.dataset.key.replace('.', '-');
    const key = name && panel.getElementsByClassName(name)[0];
    if (key) key.click();
  });
};
