// Hob and blank in three dimensions, turning with the rates of this set-up; a finger turns the view.
"use strict";

(function () {
  let scene, camera, renderer, controls, hobPart, workPart, told, turns = 0, last = 0, runs = true;

  function mesh(bytes, at, size, colour) {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(bytes, at, size.points * 3), 3));
    geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(bytes, at + size.points * 12, size.triangles * 3), 1));
    const flat = geometry.toNonIndexed();
    flat.computeVertexNormals();
    return new THREE.Mesh(flat, new THREE.MeshPhongMaterial({ color: colour, shininess: 25, specular: 0x333333, flatShading: true }));
  }

  function build(bytes) {
    const length = new DataView(bytes).getUint32(0, true);
    told = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, length)));
    let at = 4 + length;
    scene = new THREE.Scene();
    scene.background = new THREE.Color(0xffffff);
    workPart = mesh(bytes, at, told.meshes.work, 0xb8b8b8);
    at += told.meshes.work.points * 12 + told.meshes.work.triangles * 12;
    hobPart = new THREE.Group();
    hobPart.add(mesh(bytes, at, told.meshes.hob, 0x7d7d7d));
    hobPart.matrixAutoUpdate = false;
    scene.add(workPart, hobPart);
    scene.add(new THREE.AmbientLight(0xffffff, 0.45));
    const lamps = told.lies ? [[-1.2, 1.5, 0.8, 0.75], [0.6, 0.4, -1, 0.25]] : [[1.2, -0.8, 1.5, 0.75], [-1, 0.6, 0.4, 0.25]];
    for (const [x, y, z, strength] of lamps) {
      const lamp = new THREE.DirectionalLight(0xffffff, strength);
      lamp.position.set(x, y, z);
      scene.add(lamp);
    }
  }

  function pose() {
    workPart.rotation.z = 2 * Math.PI * (told.per_turn.table * turns % 1);
    const p = told.pose;
    const head = new THREE.Matrix4().set(...p[0], ...p[1], ...p[2], ...p[3]);
    const [from, to] = told.from;
    const travel = Math.abs(to - from) || 1;
    const low = Math.min(from, to);
    const start = told.per_turn.axial < 0 ? low + travel : low;
    const way = told.per_turn.axial * turns;
    const z = told.per_turn.axial ? start + way % travel : told.face / 2;
    head.premultiply(new THREE.Matrix4().makeTranslation(0, 0, z));
    hobPart.matrix.copy(head).multiply(new THREE.Matrix4().makeRotationZ(2 * Math.PI * told.hob_up * turns));
  }

  function draw(now) {
    if (!document.contains(renderer.domElement)) return;
    const step = Math.min(now - last, 100) / 1000;
    last = now;
    if (runs && document.getElementById("gear-speed")) turns += step * Math.pow(document.getElementById("gear-speed").value / 30, 2);
    pose();
    controls.update();
    renderer.render(scene, camera);
    requestAnimationFrame(draw);
  }

  window.gearState = () => ({ turns, table: workPart && workPart.rotation.z, per_turn: told && told.per_turn, triangles: told && told.meshes.work.triangles, up: camera && camera.up.toArray() });

  window.showGear = async function (job) {
    const words = document.getElementById("gear-words");
    words.textContent = "Cutting it in simulation.";
    const answer = await fetch("/solid/" + job);
    if (!answer.ok) throw new Error(await answer.text());
    build(await answer.arrayBuffer());
    if (renderer) renderer.dispose();
    const room = document.getElementById("gear-in");
    const wide = room.clientWidth || 600, high = Math.min(Math.round(wide * 0.7), Math.round(innerHeight * 0.7));
    renderer = new THREE.WebGLRenderer({ antialias: true });
    renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    renderer.setSize(wide, high);
    room.replaceChildren(renderer.domElement);
    renderer.domElement.setAttribute("role", "img");
    renderer.domElement.setAttribute("aria-label", told.words);
    camera = new THREE.PerspectiveCamera(32, wide / high, 1, 100000);
    turns = 0;
    pose();
    scene.updateMatrixWorld(true);
    // Work and hob both in sight, whole. A level machine's work lies, its spindle to the left and the hob behind it.
    const seen = new THREE.Box3().setFromObject(workPart).union(new THREE.Box3().setFromObject(hobPart)).getBoundingSphere(new THREE.Sphere());
    const far = 0.92 * seen.radius / Math.sin(Math.PI * 16 / 180) * Math.max(1, 0.8 * high / wide);
    const from = told.lies ? new THREE.Vector3(-0.74, 0.62, 0.26) : new THREE.Vector3(0.54, -0.61, 0.54);
    camera.up.set(0, told.lies ? 1 : 0, told.lies ? 0 : 1);
    camera.position.copy(seen.center).addScaledVector(from.normalize(), far);
    controls = new THREE.OrbitControls(camera, renderer.domElement);
    controls.target.copy(seen.center);
    last = performance.now(); runs = true;
    const run = document.getElementById("gear-run");
    run.hidden = false;
    document.getElementById("gear-speed-l").hidden = false;
    run.textContent = "Stop";
    run.onclick = () => { runs = !runs; run.textContent = runs ? "Stop" : "Run"; };
    words.textContent = told.words + (told.lies ? "\nDrawn lying, the spindle to the left and the hob behind the work; yours may stand on another side." : "") + "\nThe simulated gear as this set-up cuts it. One finger turns the view, two bring it nearer.";
    requestAnimationFrame(draw);
  };

  document.addEventListener("bench-changed", () => {
    if (renderer && document.contains(renderer.domElement)) window.showGear(document.body.dataset.job).catch((fault) => { document.getElementById("gear-words").textContent = fault.message; document.getElementById("gear-in").replaceChildren(); });
  });
})();
