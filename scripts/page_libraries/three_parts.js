// What the report's 3-D view uses of three.js; everything else is left out of the bundle.
export {
  AmbientLight, BufferAttribute, BufferGeometry, Color, DirectionalLight, Group, Mesh, MeshLambertMaterial, PerspectiveCamera, Points, PointsMaterial, Scene, Vector3, WebGLRenderer,
} from "three";
export { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
export { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
export { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
export { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";
