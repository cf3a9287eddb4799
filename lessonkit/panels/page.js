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

  /* What lives is sent whole after each click, and most of it is as before. The page keeps what it shows and
     changes only what differs: to draw all of a picture again takes it twice as long. What was sent stands
     unseen beside it, and only a mark is left of it, so that an empty sending is noticed, too. */
  const KINDS = '.lk-living > .widget-html-content, .lk-still > .widget-html-content';
  const take = () => {
    for (const sent of panel.querySelectorAll(KINDS)) {
      if (sent.matches('.lk-seen') || sent.firstChild?.nodeType === Node.COMMENT_NODE) continue;
      let seen = sent.previousElementSibling;
      if (!seen?.matches('.lk-seen')) {
        seen = sent.cloneNode(false);
        seen.classList.add('lk-seen');
        sent.before(seen);
        sent.classList.add('lk-sent');
      }
      follow(seen, sent);
      sent.replaceChildren(document.createComment('taken'));
    }
  };
  /* Children are paired in their order, equal ones and those in the same place; what came in between or went
     is found by a look ahead. */
  const PLACE = ['x', 'y', 'x1', 'y1', 'd', 'data-key', 'class'];
  const alike = (old, now) => old.nodeName === now.nodeName &&
    (!old.getAttribute || PLACE.every(name => old.getAttribute(name) === now.getAttribute(name)));
  const ahead = (one, other) => {
    for (let k = 0; one && k < 8; k++, one = one.nextSibling) if (one.isEqualNode(other)) return one;
  };
  const follow = (seen, sent) => {
    let old = seen.firstChild;
    for (let now = sent.firstChild, next; now; now = next) {
      next = now.nextSibling;
      if (old && !old.isEqualNode(now) && !alike(old, now)) {
        const stays = ahead(old, now);
        while (stays && old !== stays) { old = old.nextSibling; old.previousSibling.remove(); }
      }
      if (!old || old.nodeName !== now.nodeName || !alike(old, now) && ahead(next, old)) {
        seen.insertBefore(now, old);
      } else {
        if (!old.isEqualNode(now)) change(old, now);
        old = old.nextSibling;
      }
    }
    while (old) { const gone = old; old = old.nextSibling; gone.remove(); }
  };
  const change = (old, now) => {
    if (!old.getAttribute) { old.data = now.data; return; }
    for (const name of now.getAttributeNames()) set(old, name, now.getAttribute(name));
    for (const name of old.getAttributeNames()) if (!now.hasAttribute(name)) old.removeAttribute(name);
    follow(old, now);
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
